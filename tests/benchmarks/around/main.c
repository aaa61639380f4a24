/* Runs a compiled model on commands from its standard input.
 *
 * `clocked INPUTS SIZE BLOCKS`: blocks of SIZE cycles with constant inputs. `sampled SIZE BLOCKS`: blocks of the first SIZE bytes
 * of the file that the first argument names. Both are answered by `done`. `outputs`: answered by the last block in hexadecimal. */
#include "face.h"
#include <stdio.h>
#include <string.h>

#define LARGEST (1u << 18)

static uint8_t samples[LARGEST], outputs[LARGEST];

int main(int count, char **arguments)
{
    char line[80];
    unsigned inputs, blocks, size = 0;
    FILE *file = count > 1 ? fopen(arguments[1], "rb") : NULL;
    if (file) {
        if (!fread(samples, 1, LARGEST, file))
            return 1;
        fclose(file);
    }
    power_up();
    while (fgets(line, sizeof line, stdin)) {
        if (!strcmp(line, "outputs\n")) {
            for (unsigned i = 0; i < size; i++)
                printf("%02x", outputs[i]);
            putchar('\n');
        } else if (sscanf(line, "clocked %u %u %u", &inputs, &size, &blocks) == 3 && size <= LARGEST) {
            clocked(inputs, outputs, size, blocks);
            puts("done");
        } else if (sscanf(line, "sampled %u %u", &size, &blocks) == 2 && size <= LARGEST) {
            while (blocks--)
                sampled(samples, outputs, size);
            puts("done");
        } else
            return 1;
        fflush(stdout);
    }
    return 0;
}

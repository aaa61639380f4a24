/* Runs a compiled model on commands from its standard input, and times it inside the process.
 *
 * `clocked INPUTS SIZE BLOCKS`: blocks of SIZE cycles with constant inputs. `sampled SIZE BLOCKS`: blocks of the first SIZE bytes
 * of the file that the first argument names. Both are answered by the nanoseconds that they took. `outputs`: answered by the last
 * block in hexadecimal. */
#define _POSIX_C_SOURCE 200809L
#include "face.h"
#include <stdio.h>
#include <string.h>
#include <time.h>

#define LARGEST (1u << 18)

static uint8_t samples[LARGEST], outputs[LARGEST];

static long long now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return t.tv_sec * 1000000000LL + t.tv_nsec;
}

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
        long long start = now();
        if (!strcmp(line, "outputs\n")) {
            for (unsigned i = 0; i < size; i++)
                printf("%02x", outputs[i]);
            putchar('\n');
        } else if (sscanf(line, "clocked %u %u %u", &inputs, &size, &blocks) == 3 && size <= LARGEST) {
            clocked(inputs, outputs, size, blocks);
            printf("%lld\n", now() - start);
        } else if (sscanf(line, "sampled %u %u", &size, &blocks) == 2 && size <= LARGEST) {
            while (blocks--)
                sampled(samples, outputs, size);
            printf("%lld\n", now() - start);
        } else
            return 1;
        fflush(stdout);
    }
    return 0;
}

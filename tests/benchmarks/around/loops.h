/* The loops around a circuit in plain C: state in a local, one byte stored a cycle.
 *
 * A circuit defines `struct state`, `POWER_UP` (its initialiser), `edge` (a rising edge) and `show` (the outputs). */
#include "face.h"

static struct state kept;
static int clock_was;

void power_up(void)
{
    kept = (struct state)POWER_UP;
}

void clocked(uint8_t inputs, uint8_t *restrict buffer, size_t size, size_t blocks)
{
    struct state s = kept;
    for (size_t block = 0; block < blocks; block++)
        for (size_t i = 0; i < size; i++) {
            edge(&s, inputs);
            buffer[i] = show(&s, inputs);
        }
    kept = s;
    clock_was = 0;
}

void sampled(const uint8_t *restrict samples, uint8_t *restrict outputs, size_t count)
{
    struct state s = kept;
    int was = clock_was;
    for (size_t i = 0; i < count; i++) {
        uint8_t inputs = samples[i];
        int clock = inputs >> 7;
        if (clock && !was)
            edge(&s, inputs);
        was = clock;
        outputs[i] = show(&s, inputs);
    }
    kept = s;
    clock_was = was;
}

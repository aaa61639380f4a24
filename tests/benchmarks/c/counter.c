/* An eight-bit counter whose upper half shows as a hexadecimal digit. */
#include <stdint.h>

struct state {
    uint8_t count;
};
#define POWER_UP {0}
#define RESET 0x40

static const uint8_t segments[16] = {
    0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F, 0x77, 0x7C, 0x39, 0x5E, 0x79, 0x71,
};

static inline void edge(struct state *s, uint8_t inputs)
{
    if (inputs & RESET)
        s->count = 0;
    else if (inputs & 1)
        s->count += inputs & 2 ? -1 : 1;
}

static inline uint8_t show(const struct state *s, uint8_t inputs)
{
    (void)inputs;
    return segments[s->count >> 4] | (s->count >> 3 & 1) << 7;
}

#include "../around/loops.h"

/* A serial multiplier, 32 by 32 bits: four clocks to load, 32 to shift and add, eight to show the product. */
#include <stdint.h>

enum step { LOAD, MULTIPLY, SHOW };

struct state {
    enum step step;
    unsigned count, noise;
    uint32_t factor;
    uint64_t product;
};
#define POWER_UP {LOAD, 0, 1, 0, 0}
#define RESET 0x40

static inline void edge(struct state *s, uint8_t inputs)
{
    unsigned n = s->noise;
    int last = 0;
    if (inputs & RESET) {
        *s = (struct state)POWER_UP;
        return;
    }
    switch (s->step) {
    case LOAD:
        s->factor = s->factor >> 8 | (n & 0xFF) << 24;
        s->product = (uint32_t)s->product >> 8 | (n >> 8 ^ (inputs & 63)) << 24;
        last = s->count == 3;
        break;
    case MULTIPLY:
        s->product = ((s->product >> 32) + (s->product & 1 ? s->factor : 0)) << 31 | (uint32_t)s->product >> 1;
        last = s->count == 31;
        break;
    case SHOW:
        s->product >>= 8;
        last = s->count == 7;
        break;
    }
    s->count++;
    if (last) {
        s->count = 0;
        s->step = s->step == SHOW ? LOAD : s->step + 1;
    }
    s->noise = (n << 1 & 0xFFFF) | ((n >> 15 ^ n >> 13 ^ n >> 12 ^ n >> 10) & 1);
}

static inline uint8_t show(const struct state *s, uint8_t inputs)
{
    (void)inputs;
    return s->product;
}

#include "../around/loops.h"

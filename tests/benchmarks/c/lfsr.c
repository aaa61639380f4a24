/* A sixteen-bit shift register with the feedback x^16 + x^14 + x^13 + x^11 + 1. */
#include <stdint.h>

struct state {
    uint16_t bits;
};
#define POWER_UP {1}
#define RESET 0x40

static inline void edge(struct state *s, uint8_t inputs)
{
    uint16_t b = s->bits;
    if (inputs & RESET)
        s->bits = 1;
    else if (inputs & 1)
        s->bits = b << 1 | ((b >> 15 ^ b >> 13 ^ b >> 12 ^ b >> 10) & 1);
}

static inline uint8_t show(const struct state *s, uint8_t inputs)
{
    return inputs & 2 ? s->bits >> 8 : s->bits;
}

#include "../around/loops.h"

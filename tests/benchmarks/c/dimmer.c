/* A lamp dimmed by pulse width; the level is taken over at the start of a period of 256 steps. */
#include <stdint.h>

struct state {
    uint8_t phase;
    uint8_t level;
};
#define POWER_UP {0, 0}
#define RESET 0x40

static inline void edge(struct state *s, uint8_t inputs)
{
    if (inputs & RESET) {
        s->phase = 0;
        s->level = 0;
        return;
    }
    if (s->phase == 255)
        s->level = inputs & 63;
    s->phase++;
}

static inline uint8_t show(const struct state *s, uint8_t inputs)
{
    (void)inputs;
    return (s->phase < s->level << 2) | (s->phase == 255) << 1 | s->level << 2;
}

#include "../around/loops.h"

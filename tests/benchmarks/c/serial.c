/* A serial transmitter, 8N1, sixteen clocks a bit, that sends a message for ever. */
#include <stdint.h>

enum step { IDLE, START, DATA, STOP };

struct state {
    enum step step;
    unsigned divider, bit, index, shift;
};
#define POWER_UP {IDLE, 0, 0, 0, 0}
#define RESET 0x40

static const uint8_t message[16] = {
    'W', 'I', 'N', 'D', ' ', 'S', 'W', ' ', '6', ' ', 'S', 'E', 'A', ' ', '4', '\n',
};

static inline void edge(struct state *s, uint8_t inputs)
{
    if (inputs & RESET) {
        *s = (struct state)POWER_UP;
        return;
    }
    if (s->step == IDLE) {
        if (inputs & 1) {
            s->shift = message[s->index];
            s->divider = 0;
            s->step = START;
        }
        return;
    }
    if (s->divider < 15) {
        s->divider++;
        return;
    }
    s->divider = 0;
    switch (s->step) {
    case START:
        s->bit = 0;
        s->step = DATA;
        break;
    case DATA:
        s->shift >>= 1;
        if (s->bit == 7)
            s->step = STOP;
        s->bit = (s->bit + 1) & 7;
        break;
    default:
        s->index = (s->index + 1) & 15;
        s->step = IDLE;
    }
}

static inline uint8_t show(const struct state *s, uint8_t inputs)
{
    (void)inputs;
    int busy = s->step != IDLE;
    int line = s->step == DATA ? s->shift & 1 : s->step != START;
    return line | busy << 1 | (busy && s->divider == 0) << 2 | s->index << 4;
}

#include "../around/loops.h"

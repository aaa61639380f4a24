/* An eight-bit accumulator processor: sixteen bytes of memory for program and data, two clocks an instruction. */
#include <stdint.h>

enum operation {
    LOAD, ADD, SUBTRACT, AND, XOR, STORE, JUMP, JUMP_NOT_ZERO, JUMP_CARRY, ADD_NUMBER, LOAD_NUMBER, ROTATE, PINS,
};

struct state {
    uint8_t memory[16];
    uint8_t execute, counter, instruction, accumulator, carry;
};
#define POWER_UP                                                                                              \
    {{0x0D, 0x1E, 0x5D, 0x0F, 0x9F, 0x5F, 0x70, 0x0D, 0xB0, 0x5E, 0xC0, 0x5F, 0x60, 0x01, 0x5B, 0x03}, 0, 0, 0, 0, 0}
#define RESET 0x40

static inline void execute(struct state *s, uint8_t inputs)
{
    unsigned argument = s->instruction & 15;
    unsigned wide;
    switch (s->instruction >> 4) {
    case LOAD:
        s->accumulator = s->memory[argument];
        break;
    case ADD:
        wide = s->accumulator + s->memory[argument];
        s->accumulator = wide;
        s->carry = wide >> 8;
        break;
    case SUBTRACT:
        wide = s->accumulator - s->memory[argument];
        s->accumulator = wide;
        s->carry = wide >> 8 & 1;
        break;
    case AND:
        s->accumulator &= s->memory[argument];
        break;
    case XOR:
        s->accumulator ^= s->memory[argument];
        break;
    case STORE:
        s->memory[argument] = s->accumulator;
        break;
    case JUMP:
        s->counter = argument;
        break;
    case JUMP_NOT_ZERO:
        if (s->accumulator)
            s->counter = argument;
        break;
    case JUMP_CARRY:
        if (s->carry)
            s->counter = argument;
        break;
    case ADD_NUMBER:
        s->accumulator += argument | (argument & 8 ? 0xF0 : 0);
        break;
    case LOAD_NUMBER:
        s->accumulator = argument;
        break;
    case ROTATE:
        wide = s->accumulator << 1 | s->carry;
        s->accumulator = wide;
        s->carry = wide >> 8;
        break;
    case PINS:
        s->accumulator = inputs & 63;
        break;
    }
}

static inline void edge(struct state *s, uint8_t inputs)
{
    if (inputs & RESET) {
        if (s->execute && s->instruction >> 4 == STORE) /* the memory has no reset */
            s->memory[s->instruction & 15] = s->accumulator;
        s->execute = s->counter = s->instruction = s->accumulator = s->carry = 0;
    } else if (s->execute) {
        execute(s, inputs);
        s->execute = 0;
    } else {
        s->instruction = s->memory[s->counter];
        s->counter = (s->counter + 1) & 15;
        s->execute = 1;
    }
}

static inline uint8_t show(const struct state *s, uint8_t inputs)
{
    (void)inputs;
    return s->accumulator;
}

#include "../around/loops.h"

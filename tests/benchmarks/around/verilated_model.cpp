// A model that Verilator made, behind the common face: two evaluations a cycle.
// It is compiled in one unit with the generated sources, so that the compiler may inline across them; MODEL is the class.
#include "face.h"

static MODEL *model;

void power_up(void)
{
    model = new MODEL(new VerilatedContext);
    model->clk = 0;
    model->rst = 0;
    model->inputs = 0;
    model->eval();
}

void clocked(uint8_t inputs, uint8_t *__restrict buffer, size_t size, size_t blocks)
{
    MODEL *const m = model;
    m->rst = inputs >> 6 & 1;
    m->inputs = inputs;
    for (size_t block = 0; block < blocks; block++)
        for (size_t i = 0; i < size; i++) {
            m->clk = 1;
            m->eval();
            m->clk = 0;
            m->eval();
            buffer[i] = m->outputs;
        }
}

void sampled(const uint8_t *__restrict samples, uint8_t *__restrict outputs, size_t count)
{
    MODEL *const m = model;
    for (size_t i = 0; i < count; i++) {
        m->clk = samples[i] >> 7;
        m->rst = samples[i] >> 6 & 1;
        m->inputs = samples[i];
        m->eval();
        outputs[i] = m->outputs;
    }
}

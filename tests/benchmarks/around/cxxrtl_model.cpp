// A model that CXXRTL made, behind the common face: it settles after each level of the clock.
// It is compiled in one unit with the generated source; MODEL is the class. `final` lets the compiler call its methods directly.
#include "face.h"

namespace {
struct Model final : MODEL {
} model;
}

void power_up(void)
{
    model.p_clk.set<bool>(false);
    model.p_rst.set<bool>(false);
    model.p_inputs.set<uint8_t>(0);
    model.step();
}

void clocked(uint8_t inputs, uint8_t *__restrict buffer, size_t size, size_t blocks)
{
    model.p_rst.set<bool>(inputs >> 6 & 1);
    model.p_inputs.set<uint8_t>(inputs);
    for (size_t block = 0; block < blocks; block++)
        for (size_t i = 0; i < size; i++) {
            model.p_clk.set<bool>(true);
            model.step();
            model.p_clk.set<bool>(false);
            model.step();
            buffer[i] = model.p_outputs.get<uint8_t>();
        }
}

void sampled(const uint8_t *__restrict samples, uint8_t *__restrict outputs, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        model.p_clk.set<bool>(samples[i] >> 7);
        model.p_rst.set<bool>(samples[i] >> 6 & 1);
        model.p_inputs.set<uint8_t>(samples[i]);
        model.step();
        if (samples[i] >> 7) // after an edge, a step leaves outputs that come from logic as they were before it
            model.eval();
        outputs[i] = model.p_outputs.get<uint8_t>();
    }
}

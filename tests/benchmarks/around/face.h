/* What each compiled model offers to the benchmark. A cycle is a rising and a falling edge with steady inputs, and one byte of
 * outputs.
 *
 * power_up: to the first state, clock low; called once. clocked: `blocks` times `size` cycles with constant inputs, one byte a cycle
 * into the buffer of `size` bytes, which each block uses again. sampled: `count` input bytes, of which bit 7 is the clock and
 * bit 6 the reset, and the outputs after each. */
#ifndef FACE_H
#define FACE_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

void power_up(void);
void clocked(uint8_t inputs, uint8_t *buffer, size_t size, size_t blocks);
void sampled(const uint8_t *samples, uint8_t *outputs, size_t count);

#ifdef __cplusplus
}
#endif

#endif

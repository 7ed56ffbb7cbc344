/* The stand, with its state and its latch where the laws can see them. */
#include "stand.c"

uint8_t peek_state(void);
uint16_t peek_latch(void);

uint8_t peek_state(void) { return stand.state; }

uint16_t peek_latch(void) { return stand.latch; }

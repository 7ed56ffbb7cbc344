// Writes the constants of one stand into its EEPROM. There is nothing to write here: the
// program stands in the .c file beside this one. Put it on the board once, see the LED
// on, then put gramwatt_stand on it. Select a board with an ATmega328P at 16 MHz.

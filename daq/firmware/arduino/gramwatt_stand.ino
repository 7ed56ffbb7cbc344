// The stand's firmware for the Arduino IDE. There is nothing to write here: the program,
// its main included, stands in the .c files beside this one (`build.py` puts them there).
// Select a board with an ATmega328P at 16 MHz.

"""Which measurement next: the expected value of each possible test, from the draws themselves.

A test's reading is predicted in every draw, with its own error. Readings are binned, and in each bin the
decision is made anew: which train at which bypass, whether to fill at a supply, whether to change a cartridge
now. The mean saving over deciding once is the value of the test. The choice in a bin is judged on other draws
than those it was made on, so that chance alone gives no value; it is never negative, and zero where no reading
would change what one does.
"""

from brewwater.planning.value_of_a_test.choose import NextTest, next_tests
from brewwater.planning.value_of_a_test.decisions import Decision, decisions
from brewwater.planning.value_of_a_test.shown import REPEATS, predicted_of, reading_of
from brewwater.planning.value_of_a_test.value import value_of

__all__ = ["REPEATS", "Decision", "NextTest", "decisions", "next_tests", "predicted_of", "reading_of", "value_of"]

"""Exit statuses of the command line; checks of others depend on them."""

DONE, WRONG_USE, SOME_REFUSED, NOTHING_DONE = 0, 2, 3, 4

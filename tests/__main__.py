"""`python3 tests` checks and tests everything; `python3 tests -k WORD` runs only pytest, with these words."""

import os
import sys

if __name__ == "__main__":
    sys.path.insert(0, os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), "deploy"))
    import bootstrap

    bootstrap.start(__file__, bootstrap.TESTS)

    from tests.stages import main

    sys.exit(main(sys.argv[1:]))

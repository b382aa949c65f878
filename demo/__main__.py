"""`python3 demo`: plays a whole round in the terminal, or opens the bot in a browser."""

import os
import sys

if __name__ == "__main__":
    sys.path.insert(0, os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), "deploy"))
    import bootstrap

    bootstrap.start(__file__, bootstrap.RUNTIME)

    from demo.main import main

    sys.exit(main(sys.argv[1:]))

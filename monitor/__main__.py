"""python -m monitor"""

import sys

from monitor.cli import main

sys.exit(main())

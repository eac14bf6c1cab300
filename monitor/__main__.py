"""python -m monitor"""

import sys

from monitor.cli.main import main

sys.exit(main())

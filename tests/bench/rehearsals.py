"""Many models on which rehearsals are compared with plain search.

``python -m tests.bench.rehearsals --models 300`` draws 300 models, each with a few procedures,
judges what is called harmless and every way back against all that is asked, prints each
disagreement and what was compared, and ends with 1 where there is a disagreement. It takes about
half a second a model.
"""

from __future__ import annotations

import sys

from tests.bench.many_models import compare_many
from tests.second_opinion.performing import compare

if __name__ == "__main__":
    sys.exit(compare_many(__doc__, compare))

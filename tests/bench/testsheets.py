"""Many models on which commissioning sheets are compared with a plain search.

``python -m tests.bench.testsheets --models 300`` draws 300 models, compares what each sheet calls
impossible with everything that can be seen at rest, prints each disagreement and what was compared,
and ends with 1 where there is a disagreement. It takes about a fifth of a second a model.
"""

from __future__ import annotations

import sys

from tests.bench.many_models import compare_many
from tests.second_opinion.at_rest import compare

if __name__ == "__main__":
    sys.exit(compare_many(__doc__, compare))

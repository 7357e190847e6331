"""The rules layer: findings and facts in, a grade with its reasons out.

All of it is data in ``default.toml``, which a studio may override key by key.
"""

from grader.rules.decide import grade_piece
from grader.rules.load import default_rules_text, load_rules
from grader.rules.model import Rules

__all__ = ["Rules", "default_rules_text", "grade_piece", "load_rules"]

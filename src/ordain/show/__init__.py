"""How things look. In: findings, verdicts, builds as data. Out: text in one form or another. Decides nothing."""

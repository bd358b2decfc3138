"""How the rule was chosen and its limits made; nothing here is needed to judge a visit."""

"""The sheet that is left with an owner: what lies where, what runs when, and what to do."""

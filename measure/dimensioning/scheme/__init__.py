"""Which dimensions a drawing carries: what belongs together on a part, what is still free, and what is proposed."""

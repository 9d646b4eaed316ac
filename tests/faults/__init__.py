"""Single faults: what there are, what each comes to, by two ways."""

"""Everything around the tasks: recording, plans, stage, store, scores, page, export."""

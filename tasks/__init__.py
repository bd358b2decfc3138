"""What the person does: pure state machines in millimetres, driven by time stamps alone."""

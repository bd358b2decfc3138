"""Every text the patient reads or hears, and the languages it is said in."""

"""How much each vehicle is used: from stored readings to levels, rates and their doubt."""

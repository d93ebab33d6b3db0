"""Why has it stopped rising? The budgets of heat and water, in words, pictures and controls."""

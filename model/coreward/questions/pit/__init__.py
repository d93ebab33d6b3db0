"""What vents, fuel, lid and weather do to air, damp and meat."""

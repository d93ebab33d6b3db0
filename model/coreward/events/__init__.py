"""What happened during a cook: the fire, the probes, the meat, its standstills."""

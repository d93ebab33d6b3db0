"""The notebooks as plain pages: prose, pictures and controls, no code.

`pages` reads the notebooks, `sessions` gives each visitor's page a kernel of its own,
`guard` fences that kernel in, `seed` starts it quickly, `server` answers the browser.
Nothing heavy is imported here: `guard` and `seed` run inside kernels.
"""

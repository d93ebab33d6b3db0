"""The notebooks as plain pages: prose, pictures and controls, no code.

`pages` reads the notebooks, `sessions` gives each visitor's page a kernel of its own,
`guard` fences that kernel in, `seed` starts it quickly, `server` answers the browser.
Nothing heavy is imported here: `guard` and `seed` run inside kernels.

At home (`Serving.home`) the front door is run before anybody comes, and what a session has
computed is sent with the page itself, so the answer is there before a script is. JupyterLab
starts when somebody asks for a notebook, in a process of its own; it can run code, so
`Serving` refuses it where pages are shared.

Everything that a visitor sends has a bound before it is parsed (`messages`, `limits`):
size, count and pace of messages and bytes, headers, bodies, starts, connections, places. A
class behind one address must find room, so an address alone is never refused: of
connections without a cookie the oldest give way, and so does a page without a reader. A new
library that reads its own files late belongs into `guard._PROGRAMS`.
``tests/verification/attack_pages.py`` attacks a server of its own and prints what another
visitor saw.
"""

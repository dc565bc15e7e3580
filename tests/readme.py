"""Write the runs that the README shows again: `make readme`, after a change of what a run prints."""

import re

import test_readme

for arguments, _ in test_readme.SHOWN:
    lines = "\n".join(test_readme.printed(arguments))
    block = re.compile(rf"(<!-- runs: {re.escape(arguments)} -->\n```console\n\$ .*?\n).*?```", re.DOTALL)
    test_readme.README = block.sub(lambda m, text=lines: f"{m[1]}{text}\n```", test_readme.README)
(test_readme.ROOT / "README.md").write_text(test_readme.README, encoding="utf-8")

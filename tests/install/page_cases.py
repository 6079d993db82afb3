#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Man pages and completions: `page_cases.py PREFIX`."""
import os
import re
import shutil
import subprocess
import sys
import tempfile

from checks import Checks, several

ASK = '''source "$1"
shift
COMP_WORDS=("$@")
COMP_CWORD=$(($# - 1))
_fleck
printf '%s\\n' "${COMPREPLY[@]}"
'''


def rendered(checks, page):
    """The page's words as a reader sees them, without typesetting."""
    out = checks.run(page, ['groff', '-man', '-Tascii', '-ww', '-P-cbou', '-rLL=200n', '-rHY=0', page], silent=True)
    return ' '.join(out.split())


def pages(checks, prefix):
    program = os.path.join(prefix, 'bin', 'fleck')
    folder = os.path.join(prefix, 'share', 'man', 'man1')
    names = re.findall(r'^  fleck (\w+) ', checks.run('fleck --help', [program, '--help']), re.M)
    checks.expect('fleck --help', len(names) >= 11, names)
    for page in several(folder, '.1', len(names) + 1):
        if shutil.which('mandoc'):
            out = checks.run(page, ['mandoc', '-T', 'lint', '-W', 'warning', page])
            checks.expect(page, out == '', out)
        else:
            checks.skip(page, 'there is no mandoc')
    text = rendered(checks, os.path.join(folder, 'fleck.1'))
    for name in names:
        checks.expect('fleck.1', f'fleck {name} ' in text, f'{name} is missing')
    for name in [*names, 'phantom sheet']:
        text = rendered(checks, os.path.join(folder, f"fleck-{name.replace(' ', '-')}.1"))
        help_text = checks.run(name, [program, *name.split(), '--help'])
        first, summary = help_text.split('\n\n')[:2]
        # each option and each paragraph of the help is in the page, word for word
        options, _, rest = help_text.partition('\n  -h, --help')
        entries = [first, summary, *re.split(r'\n(?=  (?:-\w,|   ) ?--)', options)[1:],
                   *rest.split('\n\n')[1:]]
        checks.expect(name, len(entries) > 3, help_text)
        for entry in entries:
            entry = ' '.join(entry.split())
            checks.expect(name, entry in text, f'the page has not: {entry}')


def ask(prefix, words):
    path = os.path.join(prefix, 'share', 'bash-completion', 'completions', 'fleck')
    done = subprocess.run(['bash', '--norc', '-c', ASK, 'bash', path, *words], check=False,
                          stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    return sorted(done.stdout.decode().split('\n')[:-1]), done.stderr.decode()


def completions(checks, prefix):
    program = os.path.join(prefix, 'bin', 'fleck')
    with tempfile.TemporaryDirectory() as top:
        os.chdir(top)
        os.mkdir('run 1')
        with open('run.png', 'w', encoding='utf-8'):
            pass
        for words, wanted in (
                ('fleck me', ['measure']),
                ('fleck measure --thr', ['--threshold']),
                ('fleck measure --threshold ', ['fixed:', 'local', 'otsu', 'pooled']),
                ('fleck contact --threshold ', ['fixed:', 'local', 'otsu']),
                ('fleck measure --ink = l', ['light']),
                ('fleck measure --ink =', ['dark', 'light']),
                ('fleck measure -o r', ['run 1']),
                ('fleck measure r', ['run 1', 'run.png']),
                ('fleck measure --cutoff ', []),
                ('fleck plot --format svg,p', ['svg,pdf', 'svg,png']),
                ('fleck plot r', ['run 1']),
                ('fleck compare x --measures ink.coverage,dots.below', ['ink.coverage,dots.below_cutoff']),
                ('fleck describe ink.mean', ['ink.mean_chord_mm']),
                ('fleck phantom s', ['separate', 'sheet', 'square']),
                ('fleck phantom sheet --kin', ['--kind']),
                ('fleck phantom sheet --kind f', ['field']),
                ('fleck phantom --steps', []),
                ('fleck phantom sheet --steps-o', ['--steps-out']),
                ('fleck nonsense ', [])):
            found, said = ask(prefix, words.split(' '))
            checks.expect(words, found in (wanted, [''] if not wanted else wanted) and said == '',
                          f'{found}, not {wanted} {said}')
        # every option that a help explains is offered
        for name in ('measure', 'edition', 'phantom sheet'):
            help_text = checks.run(name, [program, *name.split(), '--help'])
            options = sorted(set(re.findall(r'^  (?:-\w,|   ) (--[\w-]+)', help_text, re.M)))
            found, _ = ask(prefix, ['fleck', *name.split(), '--'])
            checks.expect(name, found == options and len(options) > 5, f'{found} is not {options}')
        os.chdir('/')
    share = os.path.join(prefix, 'share')
    for shell, path in (('zsh', 'zsh/site-functions/_fleck'), ('fish', 'fish/vendor_completions.d/fleck.fish')):
        if shutil.which(shell) is None:
            checks.skip(path, f'there is no {shell}')
            continue
        checks.run(path, [shell, '-n', os.path.join(share, path)], silent=True)
    if shutil.which('fish'):
        out = checks.run('fish', ['fish', '--no-config', '-c', f'source "{share}/fish/vendor_completions.d/fleck.fish"; '
                                  'complete -C "fleck phantom sheet --kind f"'])
        checks.expect('fish', out.split()[:1] == ['field'], out)


def main():
    checks = Checks()
    pages(checks, sys.argv[1])
    completions(checks, sys.argv[1])
    checks.end()


main()

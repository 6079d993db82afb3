#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""What README and docs show, run: `snippet_cases.py PROGRAM SOURCE_DIR`.

A line `$ fleck ...` is run in the folder of the samples, and what stands below it must be what comes,
line by line, standard output first. Other lines that begin with `fleck` are run when all their inputs
are there (those that write get a folder of their own); of the rest every option must be one of the
command's. Snippets of Python, and of R where there is one, are run beside the samples' run.
"""
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile

PAGES = ['README.md', 'DEVELOPERS.md'] + [f'docs/{name}.md' for name in (
    'calibration', 'definitions', 'doubts', 'glossary', 'guide', 'install', 'locate', 'many-machines', 'measures',
    'performance', 'phantoms', 'pictures', 'reading-results', 'reliability', 'study', 'thresholds')]


def blocks(text):
    """Each run of lines indented by four or more, without it, and the number of its first line."""
    found, begun = [], None
    for number, line in enumerate(text.split('\n') + [''], 1):
        inside = line.startswith('    ') or (begun is not None and not line.strip())
        if inside and begun is None:
            begun, lines = number, []
        if inside:
            lines.append(line[4:])
        elif begun is not None:
            while lines and not lines[-1].strip():
                lines.pop()
            found.append((begun, lines))
            begun = None
    return found


def commands(lines):
    """Commands of a block: first line, words, whether output is shown, and the lines shown."""
    found, i = [], 0
    while i < len(lines):
        line = lines[i]
        shown = line.startswith('$ fleck ')
        if not shown and not re.match(r'fleck [a-z]+( |$)', line):
            i += 1
            continue
        first = i
        text = line[2:] if shown else line
        while text.endswith('\\') and i + 1 < len(lines):
            i += 1
            text = text[:-1] + lines[i].strip()
        i += 1
        output = []
        while shown and i < len(lines) and not lines[i].startswith('$ '):
            output.append(lines[i])
            i += 1
        if not shown:
            text = re.split(r' {3,}|\s#\s', text)[0]  # what is said of it
        found.append((first, text, shown, output))
    return found


class Checker:
    def __init__(self, program, root, folder):
        self.program, self.root, self.folder = program, root, folder
        self.passed = self.failed = 0
        self.helps = {}

    def expect(self, where, good, what):
        self.passed += bool(good)
        self.failed += not good
        if not good:
            print(f'FAIL {where}: {what}')

    def run(self, words):
        return subprocess.run([self.program, *words[1:]], cwd=self.folder, stdin=subprocess.DEVNULL,
                              capture_output=True, text=True, check=False, env={**os.environ, 'LC_ALL': 'C.UTF-8'})

    def help(self, command):
        if command not in self.helps:
            done = subprocess.run([self.program, *command.split(), '--help'], capture_output=True, text=True,
                                  check=False)
            self.helps[command] = done.stdout if done.returncode == 0 else None
        return self.helps[command]

    def known_options(self, where, words):
        """A warning or a message of the program may begin with its name too."""
        command = ' '.join(words[1:3] if words[1:3] == ['phantom', 'sheet'] else words[1:2])
        if self.help(command) is None:
            self.expect(where, False, f'{command} is no command')
            return
        text = self.help(command)
        for word in words[2:]:
            if re.match(r'--[a-z]', word):
                name = word.split('=')[0]
                self.expect(where, re.search(rf'{name}(?![a-z-])', text), f'{command} has no option {name}')

    def shown(self, where, text, output):
        done = self.run(shlex.split(text))
        # how far it is is said to those who wait long
        came = re.sub(r'(?m)^fleck: \d+ of \d+ patches.*\n', '', done.stdout + done.stderr).rstrip('\n').split('\n')
        wanted = '\n'.join(output).rstrip('\n').split('\n')
        strip = [line.rstrip() for line in came], [line.rstrip() for line in wanted]
        for number, (one, other) in enumerate(zip(*strip)):
            if one != other:
                self.expect(where, False, f'{text[:60]} ... line {number + 1} is\n  {one!r}, the page has\n  {other!r}')
                return
        self.expect(where, len(strip[0]) == len(strip[1]), f'{text[:60]} ... has {len(came)} lines, the page {len(wanted)}')

    def plain(self, where, text):
        try:
            words = shlex.split(text)
        except ValueError:
            self.expect(where, False, f'{text!r} cannot be split into words')
            return
        self.known_options(where, words)
        inputs = [word for word in words[2:] if word in ('run', 'edition-run', 'tiles.csv')]
        if words[1] not in ('compare', 'relate', 'edition', 'plan', 'plot', 'report', 'describe') or '[' in text or \
                (not inputs and words[1] != 'describe'):
            return
        done = self.run(words)
        self.expect(where, done.returncode == 0, f'{text}: exit code {done.returncode}: {done.stderr[-300:]}')


def prepare(checker):
    subprocess.run(['sh', os.path.join(checker.root, 'samples', 'draw.sh'), checker.program], check=True,
                   stdout=subprocess.DEVNULL)
    drawn = os.path.join(checker.root, 'samples', 'out')
    for name in ('tiles', 'edition', 'tiles.csv', 'edition.csv'):
        os.symlink(os.path.join(drawn, name), os.path.join(checker.folder, name))
    done = checker.run(['fleck', 'measure', 'edition.csv', '-o', 'edition-run', '--simulations', '0', '--quiet'])
    checker.expect('edition-run', done.returncode == 0, done.stderr[-300:])


def interpreters():
    """How a snippet of each language is run from a file; those that are not there are left out."""
    rscript = shutil.which('Rscript')
    found = {'python': [sys.executable]}
    if rscript:
        found['r'] = [rscript, '--vanilla', '-e', 'source(commandArgs(TRUE), print.eval = TRUE, encoding = "UTF-8")']
    return found


def snippets(checker, page, text):
    """Each snippet of Python and R; what its lines `#> ...` show must be what it prints."""
    for number, (language, snippet) in enumerate(re.findall(r'```(python|r)\n(.*?)```', text, re.S), 1):
        command = interpreters().get(language)
        if command is None:
            print(f'{page}: no {language} on this machine, snippet {number} was not run')
            continue
        shown = re.findall(r'(?m)^#> ?(.*)$', snippet)
        checker.expect(f'{page}, snippet {number}', shown, 'shows no line of what it prints')
        path = os.path.join(checker.folder, f'snippet.{language}')
        with open(path, 'w', encoding='utf-8') as file:
            file.write(snippet)
        done = subprocess.run([*command, path], cwd=checker.folder, capture_output=True, text=True, check=False)
        said = [line.rstrip() for line in done.stdout.splitlines()]
        checker.expect(f'{page}, snippet {number}', done.returncode == 0 and said == shown,
                       f'prints {said}, shown are {shown}; {done.stderr[-300:]}')


def main():
    if len(sys.argv) != 3:
        sys.exit('usage: snippet_cases.py PROGRAM SOURCE_DIR')
    with tempfile.TemporaryDirectory() as folder:
        checker = Checker(os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2]), folder)
        prepare(checker)
        count = 0
        for page in PAGES:
            with open(os.path.join(checker.root, page), encoding='utf-8') as file:
                text = file.read()
            for begun, lines in blocks(text):
                for first, command, shown, output in commands(lines):
                    count += 1
                    where = f'{page}:{begun + first}'
                    if shown:
                        checker.shown(where, command, output)
                    else:
                        checker.plain(where, command)
            snippets(checker, page, text)
        page = subprocess.run([checker.program, 'describe', '--page'], capture_output=True, text=True, check=False).stdout
        with open(os.path.join(checker.root, 'docs', 'measures.md'), encoding='utf-8') as file:
            checker.expect('docs/measures.md', file.read() == page, 'is not what fleck describe --page prints')
        checker.expect('all pages', count > 40, f'only {count} commands were found')
        print(f'{checker.passed} passed, {checker.failed} failed; {count} commands')
    return checker.failed > 0


if __name__ == '__main__':
    sys.exit(main())

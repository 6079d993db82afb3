#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A strict reader of the report's page: `page_check.py PAGE...` prints each fault."""
import re
import sys
from html.parser import HTMLParser

VOID = {'meta', 'img', 'input', 'br'}
KNOWN = VOID | {'html', 'head', 'title', 'style', 'body', 'a', 'header', 'main', 'footer', 'section', 'nav',
                'h1', 'h2', 'h3', 'p', 'ul', 'li', 'dl', 'dt', 'dd', 'bdi', 'code', 'span', 'strong', 'div',
                'figure', 'figcaption', 'table', 'caption', 'thead', 'tbody', 'tr', 'th', 'td', 'details',
                'summary', 'label', 'button', 'script', 'i'}


class Page(HTMLParser):
    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.faults, self.open, self.ids, self.links, self.levels, self.labels = [], [], [], [], [], set()
        self.texts, self.scripts, self.labelled, self.fields, self.rows = [], 0, [], [], []
        if not text.startswith('<!DOCTYPE html>\n<html lang="en">'):
            self.faults.append('does not begin as HTML with its language')
        # an & that begins no reference, or a < within a text, is what a missing escape leaves behind
        bare = re.sub(r'<(script|style)>.*?</\1>', '', text, flags=re.S)
        for odd in re.findall(r'&(?!(?:amp|lt|gt|quot|#39);).{0,20}', bare):
            self.faults.append(f'a bare ampersand: {odd!r}')
        self.feed(text)
        self.close()
        self.finish()

    def handle_starttag(self, tag, attributes):
        where = f'line {self.getpos()[0]}: <{tag}>'
        names = [name for name, _ in attributes]
        values = dict(attributes)
        if tag not in KNOWN:
            self.faults.append(f'{where} is not of this page')
        if len(set(names)) != len(names):
            self.faults.append(f'{where} has an attribute twice')
        for name, value in attributes:
            if name.startswith('on') or (name in ('src', 'href', 'srcset', 'action', 'data') and not (
                    value.startswith('#') and tag == 'a' or
                    tag == 'img' and re.fullmatch(r'data:image/(jpeg|svg\+xml);base64,[A-Za-z0-9+/]+={0,2}', value))):
                self.faults.append(f'{where} has {name}={value[:60]!r}')
        if 'id' in values:
            self.ids.append(values['id'])
        if tag == 'a':
            self.links.append(values.get('href', ''))
        if tag == 'img' and 'alt' not in values:
            self.faults.append(f'{where} has no text instead')
        if tag == 'img' and values.get('alt') == '' and values.get('class') != 'thumb':
            self.faults.append(f'{where} has an empty text instead')
        if tag == 'th' and values.get('scope') not in ('row', 'col'):
            self.faults.append(f'{where} has no scope')
        if tag in ('h1', 'h2', 'h3'):
            self.levels.append(int(tag[1]))
        if tag == 'label' and 'for' in values:
            self.labels.add(values['for'])
        if tag == 'input' and not (values.get('aria-label') or 'label' in self.open):
            self.fields.append(values.get('id'))
        if 'aria-labelledby' in values:
            self.labelled.append(values['aria-labelledby'])
        self.scripts += tag == 'script'
        if tag == 'tr':
            self.rows.append('')
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if not self.open or self.open[-1] != tag:
            self.faults.append(f'line {self.getpos()[0]}: </{tag}> within {self.open[-2:]}')
        if tag in self.open:
            while self.open.pop() != tag:
                pass

    def handle_data(self, data):
        if not self.open or self.open[-1] not in ('script', 'style'):
            self.texts.append(data)
            if 'tr' in self.open:
                self.rows[-1] += data

    def handle_comment(self, data):
        self.faults.append(f'a comment: {data[:60]!r}')

    def finish(self):
        if self.open:
            self.faults.append(f'left open: {self.open}')
        if len(set(self.ids)) != len(self.ids):
            self.faults.append('an id stands twice')
        for target in [link[1:] for link in self.links] + self.labelled:
            if target not in self.ids:
                self.faults.append(f'nothing has the id {target!r}')
        for field in self.fields:
            if field not in self.labels:
                self.faults.append(f'an input without label: {field!r}')
        if self.levels.count(1) != 1 or self.levels[0] != 1:
            self.faults.append(f'headings begin with {self.levels[:3]}')
        for before, after in zip(self.levels, self.levels[1:]):
            if after > before + 1:
                self.faults.append(f'h{after} follows h{before}')
        if self.scripts != 1:
            self.faults.append(f'{self.scripts} scripts')
        self.text = ' '.join(''.join(self.texts).split())


if __name__ == '__main__':
    faults = []
    for name in sys.argv[1:]:
        with open(name, encoding='utf-8') as file:
            faults += [f'{name}: {fault}' for fault in Page(file.read()).faults]
    print('\n'.join(faults) or 'no faults')
    sys.exit(bool(faults))

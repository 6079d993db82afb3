#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The page and the plots of a run: `report_cases.py PROGRAM`."""
import csv
import json
import os
import shutil
import sys
import tempfile
import xml.etree.ElementTree as xml

from cli_cases import Cases, png, speckle
from page_check import Page

# each must come out as text; line ends and tabs become blanks
HOSTILE = ['<script>document.title="x"</script>', '"><img src=x onerror=alert(1)>', "' onfocus='x", '&lt;b&gt; & co',
           '\u7d19 \u00e9 \U0001f5a8', 'n' * 300, '</details></main><!--', '=1+1;"quoted, with comma"']


def page(cases, case, path):
    with open(path, encoding='utf-8', newline='') as file:
        text = file.read()
    found = Page(text)
    for fault in found.faults[:5]:
        cases.expect(case, False, fault)
    cases.expect(case, '://' not in text.split('<style>')[0] and 'url(' not in text, 'it loads something')
    return text, found


def measure(cases):
    """Eight patches with hostile names, in two groups, as prints of an edition."""
    cases.put('a.png', png(speckle(150, 150, 5)))
    cases.put('b.png', png(speckle(150, 150, 8)))
    with open(cases.path('manifest.csv'), 'w', encoding='utf-8', newline='') as file:
        out = csv.writer(file)
        out.writerow(['scan', 'patch', 'paper', 'paste_pct', 'print_no', '<i>note</i>'])
        for i, name in enumerate(HOSTILE):
            out.writerow(['ab'[i % 2] + '.png', name, ['"rough" & <b>raw</b>', 'smooth'][i % 2], 2 + i % 4,
                          i + 1, HOSTILE[-1 - i]])
    cases.call('a run to report', ['measure', cases.path('manifest.csv'), '--pictures', '-o', cases.path('run')], 0)
    return cases.path('run')


def pages(cases, run):
    for case, options, wanted in (
            ('a page without a question', [], ['What was measured?', '8 patches were measured']),
            ('a page about groups', ['--by', 'paper'], ['Does the texture differ by paper?']),
            ('a page about a factor', ['--by', 'paste_pct', '--tolerance', 'ink.coverage=5%'],
             ['Does the texture differ by paste (%)?']),
            ('a page about an edition', ['--order', 'print_no'], ['Is the edition reproducible?', '8 prints']),
            ('a page about an edition of 40', ['--order', 'print_no', '--edition-size', '40'],
             ['at least 90 % of an edition of 40 are good, look at', 'and below, with 95 % confidence']),
            ('a page about both', ['--order', 'print_no', '--by', 'paper', '--reference', HOSTILE[0], '--tolerance',
                                   'ink.coverage=10%', '--title', '<h1>"A & B"</h1>'],
             ['Is the edition reproducible?', 'Does the texture differ', '<h1>"A & B"</h1>'])):
        path = cases.path('page.html')
        cases.call(case, ['report', run, '-o', path, *options], 0)
        text, found = page(cases, case, path)
        for name in HOSTILE + wanted + ['How to cite', 'SHA-256']:
            cases.expect(case, name in found.text, f'{name[:60]!r} is not shown')
        for part in ('<i>note', '<img src=x', 'onerror=alert(1)>"', '<b>raw'):
            cases.expect(case, part not in text, f'{part!r} is code')
        with open(os.path.join(run, 'patches.csv'), encoding='utf-8', newline='') as file:
            rows = list(csv.DictReader(file))
        for row in rows:
            with open(os.path.join(run, 'records', named(run, row['id'])), encoding='utf-8') as file:
                record = json.load(file)
            cases.expect(case, record['source']['sha256'] in found.text, 'a scan without its SHA-256')
            for warning in record['warnings']:
                message = warning['message']
                cases.expect(case, message[:1].upper() + message[1:] in found.text, f'no warning {warning["code"]}')
        first = text
        cases.call(case + ' again', ['report', run, '-o', path, *options], 0)
        cases.expect(case + ' again', page(cases, case, path)[0] == first, 'other bytes')
        cases.expect(case, text.count('class="over"') >= 8, 'pictures of dots are missing')
    cases.call('a page in the run', ['report', run], 0, 'report.html: 8 patches')
    cases.expect('a page in the run', os.path.getsize(os.path.join(run, 'report.html')) > 10000, 'no page')


def named(run, name):
    """The record's file of an id."""
    for file in sorted(os.listdir(os.path.join(run, 'records'))):
        with open(os.path.join(run, 'records', file), encoding='utf-8') as text:
            if json.load(text)['id'] == name:
                return file
    raise KeyError(name)


def without_pictures(cases, run):
    bare = cases.path('bare')
    shutil.copytree(run, bare)
    shutil.rmtree(os.path.join(bare, 'pictures'))
    cases.call('a run without pictures', ['report', bare], 0, 'measure with --pictures')
    page(cases, 'a run without pictures', os.path.join(bare, 'report.html'))
    damaged = cases.path('damaged')
    shutil.copytree(run, damaged)
    for folder, _, files in os.walk(os.path.join(damaged, 'pictures')):
        for i, file in enumerate(files):
            with open(os.path.join(folder, file), 'r+b') as picture:
                picture.truncate(60 * i)
    cases.call('damaged pictures', ['report', damaged], 0)
    page(cases, 'damaged pictures', os.path.join(damaged, 'report.html'))


def large(cases, run):
    """200 patches with the pictures of large ones: below 30 MB, whatever they are."""
    big = cases.path('big')
    for folder in ('records', 'dots', 'pictures/plain', 'pictures/thumbs'):
        os.makedirs(os.path.join(big, folder))
    shutil.copy(os.path.join(run, 'run.json'), big)
    with open(os.path.join(run, 'patches.csv'), encoding='utf-8', newline='') as file:
        rows = list(csv.DictReader(file))
    source = rows[1]
    stem = named(run, source['id'])[:-len('.json')]
    with open(os.path.join(run, 'records', stem + '.json'), encoding='utf-8') as file:
        record = json.load(file)
    with open(os.path.join(big, 'patches.csv'), 'w', encoding='utf-8', newline='') as file:
        out = csv.DictWriter(file, rows[0].keys())
        out.writeheader()
        for i in range(200):
            name = f'patch {i}'
            out.writerow({**source, 'id': name, 'print_no': i})
            with open(os.path.join(big, 'records', name + '.json'), 'w', encoding='utf-8') as text:
                json.dump({**record, 'id': name}, text)
            os.symlink(os.path.join(run, 'dots', stem + '.csv'), os.path.join(big, 'dots', name + '.csv'))
            for folder in ('', 'plain', 'thumbs'):
                os.symlink(os.path.join(run, 'pictures', folder, stem + '.png'),
                           os.path.join(big, 'pictures', folder, name + '.png'))
    path = cases.path('big.html')
    cases.call('200 patches', ['report', big, '-o', path], 0, '200 patches')
    text, found = page(cases, '200 patches', path)
    cases.expect('200 patches', 1e6 < os.path.getsize(path) < 30e6, f'{os.path.getsize(path)} bytes')
    cases.expect('200 patches', text.count('class="thumb"') == 200, 'not all have a thumbnail')
    cases.expect('200 patches', all(f'<bdi>patch {i}</bdi></h3>' in text for i in range(200)), 'not all are there')
    cases.expect('200 patches', 'To keep the page small' in found.text, 'it does not say what it left out')


def plots(cases, run):
    folder = cases.path('plots')
    cases.call('all plots', ['plot', run, '-o', folder, '--by', 'paste_pct', '--order', 'print_no'], 0, 'files')
    files = sorted(os.listdir(folder))
    cases.expect('all plots', all(len(file.encode()) <= 255 for file in files), 'a name too long')
    for ending in ('-sizes.svg', '-spacing.svg', '-chords.svg', '-covariance.svg'):
        cases.expect('all plots', sum(file.endswith(ending) for file in files) == 8, f'{ending}: {files}')
    for name in ('ink.coverage@paste_pct-groups.svg', 'ink.coverage@paste_pct-fit.svg',
                 'ink.coverage@print_no-chart.svg'):
        cases.expect('all plots', name in files, f'no {name}')
    for file in files:
        xml.parse(os.path.join(folder, file))
    one = cases.path('one')
    cases.call('one plot', ['plot', run, '-o', one, '--patch', HOSTILE[4], '--plots', 'sizes', '--format',
                            'pdf,png', '--size', 'page'], 0, '2 files')
    cases.expect('one plot', sorted(file.rsplit('.')[-1] for file in os.listdir(one)) == ['pdf', 'png'], os.listdir(one))
    cases.call('plots in the run', ['plot', run, '--plots', 'none', '--by', 'paper'], 0, '/plots')


def wrong_calls(cases, run):
    for case, arguments, pattern in (
            ('a plot of no run', ['plot'], 'give one'),
            ('a plot of a run that is not there', ['plot', cases.path('no such run')], ''),
            ('no such format', ['plot', run, '--format', 'svg,bmp'], 'give svg, pdf, png'),
            ('no such plot', ['plot', run, '--plots', 'sizes,shapes'], 'names another plot'),
            ('no such size', ['plot', run, '--size', 'poster'], 'column or page'),
            ('no such patch', ['plot', run, '--patch', 'x'], 'no patch of that id'),
            ('no such column', ['plot', run, '--by', 'paste'], 'paste'),
            ('a report of no run', ['report'], 'give one'),
            ('a report by no column', ['report', run, '--by', 'paste'], 'paste'),
            ('a tolerance for nothing', ['report', run, '--tolerance', 'ink.coverage=5%'], '--by or --order'),
            ('a tolerance without number', ['report', run, '--by', 'paper', '--tolerance', 'x=y'], 'no number'),
            ('a reference for nothing', ['report', run, '--reference', 'x'], '--order'),
            ('a size of nothing', ['report', run, '--edition-size', '40'], '--order'),
            ('an edition smaller than what was measured',
             ['report', run, '--order', 'print_no', '--edition-size', '2'], 'an edition of 2'),
            ('no size', ['report', run, '--order', 'print_no', '--edition-size', '0'], 'above 0'),
            ('rescans of nothing', ['report', run, '--rescan', 'scan'], '--by or --order'),
            ('a title without text', ['report', run, '--title'], '')):
        _, said = cases.call(case, arguments, 1 if 'not there' in case else 2, pattern)
        cases.expect(case, not os.path.exists(cases.path('no such run')), 'a folder was made')


def main():
    if len(sys.argv) != 2:
        sys.exit('usage: report_cases.py PROGRAM')
    with tempfile.TemporaryDirectory() as top:
        cases = Cases(os.path.abspath(sys.argv[1]), top)
        run = measure(cases)
        wrong_calls(cases, run)
        pages(cases, run)
        without_pictures(cases, run)
        plots(cases, run)
        large(cases, run)
    print(f'{cases.passed} passed, {cases.failed} failed')
    return 1 if cases.failed else 0


if __name__ == '__main__':
    sys.exit(main())

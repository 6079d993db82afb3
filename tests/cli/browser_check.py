#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""
The report's page in a browser: `browser_check.py PAGE [AXE]`.

Works where Debian's chromium is installed; says so and passes where it is not. AXE is axe.min.js of the
npm package axe-core: `npm pack axe-core` brings it. A script put into a copy of the page sorts, filters,
zooms and slides, and leaves what it saw in the page, which chromium prints.
"""
import html
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile

SCRIPT = r'''
addEventListener('load', async function () {
  var seen = {}, d = document, table = d.getElementById('patches-table');
  var column = function (c) { return Array.from(table.tBodies[0].rows, function (r) {
    var e = r.cells[c]; return e.dataset.value !== undefined ? e.dataset.value : e.textContent.trim(); }); };
  var heads = Array.from(table.tHead.rows[0].cells);
  var c = heads.findIndex(function (h) { return /Coverage/.test(h.textContent); });
  heads[c].querySelector('button').click(); seen.up = column(c); seen.sort = heads[c].getAttribute('aria-sort');
  heads[c].querySelector('button').click(); seen.down = column(c);
  var field = d.getElementById('filter'), first = column(0)[0];
  field.value = first; field.dispatchEvent(new Event('input'));
  seen.all = table.tBodies[0].rows.length;
  seen.shown = Array.from(table.tBodies[0].rows).filter(function (r) { return !r.hidden; }).length;
  seen.found = d.getElementById('found').textContent;
  d.querySelectorAll('#fold button')[0].click();
  seen.open = Array.from(d.querySelectorAll('details.patch')).every(function (e) { return e.open; });
  var look = d.querySelector('figure.look');
  if (look) {
    var over = look.querySelector('.over'), range = look.querySelector('input');
    range.value = 30; range.dispatchEvent(new Event('input')); seen.cut = getComputedStyle(over).clipPath;
    seen.before = over.getBoundingClientRect().width;
    look.querySelector('.zoom').click(); seen.after = over.getBoundingClientRect().width;
    seen.pressed = look.querySelector('.zoom').getAttribute('aria-pressed');
    look.querySelector('.zoom').click();
  }
  seen.sideways = d.documentElement.scrollWidth > innerWidth;
  seen.loads = performance.getEntriesByType('resource').filter(function (e) { return !/^data:/.test(e.name); }).length;
  if (window.axe) {
    var result = await axe.run(d);
    seen.axe = result.violations.map(function (v) { return v.id + ': ' + v.nodes.slice(0, 3).map(function (n) {
      return n.target.join(' '); }).join(', '); });
    seen.rules = result.passes.length;
  }
  d.body.innerHTML = ''; d.body.textContent = 'SEEN' + JSON.stringify(seen) + 'NEES';
});
'''


def browse(page, axe, width, dark):
    chromium = shutil.which('chromium')
    with tempfile.TemporaryDirectory() as folder:
        copy = os.path.join(folder, 'page.html')
        with open(page, encoding='utf-8') as file:
            text = file.read()
        added = ''
        if axe:
            with open(axe, encoding='utf-8') as file:
                added = '<script>' + file.read().replace('</script', '<\\/script') + '</script>'
        with open(copy, 'w', encoding='utf-8') as file:
            file.write(text.replace('</body>', added + '<script>' + SCRIPT + '</script></body>'))
        done = subprocess.run(
            [chromium, '--headless=new', '--no-sandbox', '--disable-gpu', f'--user-data-dir={folder}/profile',
             f'--window-size={width},900', '--enable-logging=stderr', '--virtual-time-budget=60000', '--dump-dom',
             *(['--blink-settings=preferredColorScheme=0'] if dark else []), 'file://' + copy],
            capture_output=True, timeout=300)
    out = html.unescape(done.stdout.decode(errors='replace'))
    said = [line for line in done.stderr.decode(errors='replace').splitlines() if 'CONSOLE' in line]
    found = re.search('SEEN(.*)NEES', out[out.rfind('<body'):], re.S)
    return json.loads(found.group(1)) if found else None, said


def check(page, axe, width, dark):
    seen, said = browse(page, axe, width, dark)
    faults = [f'the console says {line}' for line in said]
    if seen is None:
        return ['the script did not run', *faults]
    values = [float(v) for v in seen['up'] if v != '']
    wanted = (
        ('sorts upward', values == sorted(values) and seen['sort'] == 'ascending'),
        ('sorts downward', [float(v) for v in seen['down'] if v != ''] == sorted(values, reverse=True)),
        ('filters', 1 <= seen['shown'] <= seen['all'] and seen['found'].endswith('patches')),
        ('unfolds all', seen['open']),
        ('slides', 'cut' not in seen or '70%' in seen['cut']),
        ('zooms', 'cut' not in seen or (seen['after'] > 1.3 * seen['before'] and seen['pressed'] == 'true')),
        ('fits the screen', not seen['sideways']),
        ('loads nothing', seen['loads'] == 0),
        ('passes the rules of axe-core', not seen.get('axe')),
    )
    faults += [f'not: {name} ({json.dumps(seen)[:1500]})' for name, good in wanted if not good]
    print(f'{width} px, {"dark" if dark else "light"}: {seen.get("rules", "no")} rules of axe-core passed')
    return faults


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit('usage: browser_check.py PAGE [AXE]')
    if shutil.which('chromium') is None:
        print('no chromium here: nothing was checked')
        return 0
    faults = []
    for width, dark in ((1200, False), (500, True)):
        faults += check(sys.argv[1], sys.argv[2] if len(sys.argv) > 2 else None, width, dark)
    print('\n'.join(faults) or 'no faults')
    return 1 if faults else 0


if __name__ == '__main__':
    sys.exit(main())

// Head, failed list, values at the cursor and the two tables below: all text, so all can be read out.
function term(name, ...text) {
  return element('div', {}, element('dt', {}, name), element('dd', {}, ...text));
}

function writeHead() {
  const { verdict, title } = run;
  document.getElementById('head').append(
    element('h1', {}, element('span', { class: `verdict ${verdict}` }, verdict), title),
    element('p', {}, run.why_it_matters),
    element('dl', {}, term('station', run.station), term('scenario', element('code', {}, run.path)),
      term('ran', clock(run.end_ms)), term('scan', `${run.scan_ms} ms`), term('seed', String(run.seed)), term('run by', `${run.executor} scan`),
      run.shows.length ? term('shows', run.shows.join(', ')) : '',
      run.guards.length ? term('guards', run.guards.join(', ')) : ''));
  document.getElementById('foot').append(
    'A simulated run, judged on its recording. Ordinary software: no safety function rests on it, and none is shown by it. ',
    'Run it again: ', element('code', {}, `receiver scenarios ${run.path}`));
}

function jumpButton(text, act) {
  return element('button', { class: 'jump', onclick: act }, text);
}

// Folded but for the first, so that the drawing stays in sight; on paper all are open.
function factsOf(verdict, open) {
  return element('details', open ? { open: '' } : {}, element('summary', {}, `the facts at ${clock(verdict.at)}`),
    element('ul', {}, ...verdict.facts.map(said => element('li', {}, said))));
}
addEventListener('beforeprint', () => document.querySelectorAll('details').forEach(folded => { folded.open = true; }));

function writeFailed() {
  const place = document.getElementById('failed');
  if (!run.failed.length && !run.disagreements.length) return;
  place.append(element('h2', {}, `Failed: ${run.failed.length} of ${run.verdicts.length}`));
  const items = run.failed.map(verdict => element('li', {},
    element('strong', {}, verdict.wanted), ` · seen: ${verdict.seen} · line ${verdict.line || '–'} `,
    element('span', { class: 'paper' }, `· at ${clock(verdict.at)}`), jumpButton(`show ${clock(verdict.at)}`, () => jump(verdict)),
    verdict.because ? element('div', { class: 'faint' }, verdict.because) : '',
    verdict.facts.length ? factsOf(verdict, verdict === run.failed[0]) : ''));
  place.append(element('ol', {}, ...items));
  if (run.untold) place.append(element('p', { class: 'faint' }, run.untold));
  if (run.disagreements.length) {
    place.append(element('p', {}, 'The engines differ:'),
      element('ul', {}, ...run.disagreements.map(said => element('li', {}, said))));
  }
}

function writeVerdicts() {
  const rows = run.verdicts.map(verdict => element('tr', {},
    element('td', { class: verdict.good ? 'good' : 'bad' }, verdict.good ? '✓ passed' : '✗ FAILED'),
    element('td', {}, verdict.wanted, verdict.because ? element('div', { class: 'faint' }, verdict.because) : ''),
    element('td', {}, verdict.seen),
    element('td', { class: 'time' }, `${clock(verdict.first)} to ${clock(verdict.last)}`),
    element('td', {}, jumpButton(clock(verdict.at), () => jump(verdict)))));
  const names = ['verdict', 'wanted', 'seen', 'looked at', 'show'];
  document.getElementById('verdicts').append(element('table', {},
    element('thead', {}, element('tr', {}, ...names.map(name => element('th', { scope: 'col' }, name)))),
    element('tbody', {}, ...rows)));
}

function writeDoings() {
  const kinds = { moment: 'moment of the timeline', command: 'command', begins: 'failure', ends: 'failure', set: 'point', power: 'power' };
  const rows = run.marks.map(mark => element('tr', {},
    element('td', {}, element('span', { class: 'paper' }, clock(mark.at)), jumpButton(clock(mark.at), () => look(mark.at))),
    element('td', {}, kinds[mark.kind]), element('td', {}, mark.text)));
  document.getElementById('doings').append(element('table', {}, element('thead', {}, element('tr', {},
    ...['when', 'kind', 'what'].map(name => element('th', { scope: 'col' }, name)))), element('tbody', {}, ...rows)));
}

// ---- values at the cursor
const cells = [];

function writeList() {
  const list = document.getElementById('list');
  let group = '', body;
  for (const lane of run.lanes) {
    if (lane.group !== group) {
      group = lane.group;
      body = list.appendChild(element('tbody'));
      body.append(element('tr', { class: 'group' }, element('th', { scope: 'rowgroup', colspan: 2 }, group)));
    }
    for (const line of lane.lines) {
      const plant = lane.lines.length > 1 ? ` (${line.told})` : '';
      const cell = element('td');
      const row = element('tr', { title: lane.title }, element('th', { scope: 'row' }, lane.label + plant), cell);
      body.append(row);
      cells.push({ lane, line, cell, row });
    }
  }
  body = list.appendChild(element('tbody'));
  body.append(element('tr', { class: 'group' }, element('th', { scope: 'rowgroup', colspan: 2 }, 'Expectations')));
  for (const verdict of run.verdicts.filter(v => v.trace)) {
    const cell = element('td');
    const row = element('tr', {}, element('th', { scope: 'row' }, verdict.wanted), cell);
    body.append(row);
    cells.push({ lane: { kind: 'verdict' }, line: verdict.trace, cell, row });
  }
}

function showValues(ms) {
  const dark = unpowered(ms);
  for (const { lane, line, cell, row } of cells) {
    const value = valueAt(line, ms), place = placeAt(line, ms);
    const text = dark ? 'no power'
      : lane.kind === 'verdict' ? (value ? 'true' : 'false') : worded(lane, value);
    cell.textContent = lane.unit && !dark ? `${text} ${lane.unit}` : text;
    cell.className = ['off', 'no', 'false', '–'].includes(text) ? 'off' : lane.words ? 'words' : '';
    row.classList.toggle('changed', place > 0 && lane.kind !== 'analog' && ms - line.t[place] < run.scan_ms);
  }
}

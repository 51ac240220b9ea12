// The live page: shows what the computer sends, says when it sends nothing, and hands in what is pressed.
'use strict';

const OLD_MS = 1500; // the computer sends at least twice a second
const by = (id) => document.getElementById(id);
const body = document.body;
let heard = -Infinity; // when something was last sent, ms
let newest = null;
let ended = false;
let source = null;

// --- coming in ---

function connect() {
  source = new EventSource('/events');
  source.onmessage = (event) => {
    heard = performance.now();
    take(JSON.parse(event.data));
    freshness();
  };
  source.addEventListener('end', () => {
    ended = true;
    source.close();
    freshness();
  });
  source.onerror = () => {
    // It reconnects by itself, unless it was refused; then it is asked again.
    if (source.readyState === EventSource.CLOSED && !ended) setTimeout(connect, 2000);
  };
}

function take(view) {
  const cues = newest ? newest.cues : view.cues;
  newest = view;
  text('place', place(view));
  text('elapsed', view.elapsed);
  text('doing', view.technician ? `${view.technician}: ${view.doing}` : view.doing);
  view.levels.forEach(level);
  if (view.cells !== undefined) map(view.cells);
  text('covered', `${Math.round(view.covered * 100)} % reached`);
  by('cells').setAttribute('aria-label', `${Math.round(view.covered * 100)} percent of the section reached`);
  if (view.passes !== undefined) passes(view.passes);
  sheet(view.sheet);
  lock(!view.may_write);
  press('pause', view.paused, view.paused ? 'Let guidance speak' : 'Pause guidance');
  if (view.cues !== cues && view.cue) cue(view.cue);
}

function place(view) {
  const parts = [`Section ${view.section}`];
  if (view.pass !== null) parts.push(`pass ${view.pass}`);
  if (view.strokes_aim) parts.push(`${Math.min(view.strokes_done, view.strokes_aim)} of ${view.strokes_aim} strokes done`);
  else if (view.strokes > 0) parts.push(`${view.strokes} ${view.strokes === 1 ? 'stroke' : 'strokes'}`);
  return parts.join(', ');
}

// What is old is shown as old, whoever has fallen silent: the sensor or the computer.
function freshness() {
  const silent = (performance.now() - heard) / 1000;
  const cut = ended || silent * 1000 > OLD_MS;
  const fresh = !cut && newest !== null && newest.link === 'good';
  body.dataset.fresh = fresh ? 'yes' : 'no';
  let link;
  if (ended) link = 'the recording has ended';
  else if (newest === null) link = 'waiting for the computer';
  else if (cut) link = `no news from the computer for ${Math.round(silent)} s`;
  else if (newest.link === 'waiting') link = 'waiting for the sensor';
  else if (newest.link === 'lost') link = `sensor lost for ${Math.round(newest.age_s)} s`;
  else link = 'sensor good';
  text('link', link);
  const urgency = cut ? (ended ? 'none' : 'signal') : newest ? newest.urgency : 'none';
  body.dataset.urgency = urgency;
  text('sentence', cut ? (ended || newest === null ? '' : 'No news: do not go by this page') : (newest && newest.sentence) || '');
}

function text(id, words) {
  const at = by(id);
  if (at.textContent !== words) at.textContent = words;
}

// --- levels ---

const stands = new Map();

function stand(level) {
  const at = document.createElement('div');
  at.className = 'level';
  at.dataset.quantity = level.quantity;
  const make = (parent, tag, name) => {
    const made = parent.appendChild(document.createElement(tag));
    if (name) made.className = name;
    return made;
  };
  const head = make(at, 'div', 'head');
  const parts = { at };
  for (const name of ['name', 'reading', 'word', 'band']) parts[name] = make(head, 'span', name);
  const row = make(at, 'div', 'row');
  make(row, 'span').textContent = level.left;
  parts.tube = make(row, 'div', 'tube');
  parts.tube.setAttribute('role', 'img');
  make(row, 'span').textContent = level.right;
  for (const name of ['mark low', 'mark high', 'bubble', 'ahead']) parts[name] = make(parts.tube, 'div', name);
  by('levels').appendChild(at);
  return parts;
}

function level(it) {
  if (!stands.has(it.quantity)) stands.set(it.quantity, stand(it));
  const parts = stands.get(it.quantity);
  const arrow = !it.fault ? it.word : it.zone === 'low' ? `◄ ${it.word}` : `${it.word} ►`;
  parts.name.textContent = it.name;
  parts.reading.textContent = it.reading || '–';
  parts.word.textContent = arrow;
  parts.band.textContent = it.band || '';
  parts.at.dataset.fault = it.fault ? 'yes' : 'no';
  parts.at.dataset.zone = it.zone;
  parts.tube.classList.toggle('bare', !it.band);
  const percent = (at) => `${50 + 50 * at}%`;
  for (const mark of ['mark low', 'mark high']) parts[mark].hidden = !it.band;
  parts.bubble.hidden = !it.bubble;
  parts.ahead.hidden = it.ahead === null || !it.bubble;
  if (it.bubble) {
    parts.bubble.style.left = percent(it.bubble.at);
    parts.bubble.style.width = `${100 * it.bubble.half_width}%`;
  }
  if (it.ahead !== null) parts.ahead.style.left = percent(it.ahead);
  parts.tube.setAttribute('aria-label', `${it.name}: ${it.reading || 'not known'}, ${it.word}${it.band ? `, aim ${it.band}` : ''}`);
}

// --- section ---

function map(cells) {
  const canvas = by('cells');
  const draw = canvas.getContext('2d');
  const side = Math.round(Math.sqrt(cells.length));
  const step = canvas.width / side;
  draw.clearRect(0, 0, canvas.width, canvas.height);
  for (let i = 0; i < cells.length; i++) {
    const times = Number(cells[i]);
    if (times === 0) continue;
    const [x, y] = [(i % side) * step, Math.floor(i / side) * step];
    draw.fillStyle = ['#1b4a5c', '#2f7f9b', '#5cb3d1', '#a5dcef'][Math.min(times, 4) - 1];
    draw.fillRect(x, y, step + 0.5, step + 0.5);
    // One stripe for one pass, a cross for more: told apart without colour.
    draw.strokeStyle = times > 2 ? '#14171a' : '#f2f4f5';
    draw.lineWidth = 1.5;
    draw.beginPath();
    draw.moveTo(x, y + step);
    draw.lineTo(x + step, y);
    if (times > 1) {
      draw.moveTo(x, y);
      draw.lineTo(x + step, y + step);
    }
    draw.stroke();
  }
}

// --- passes ---

function passes(list) {
  const rows = list.slice().reverse().map((pass) => {
    const row = document.createElement('tr');
    const name = pass.start_s === null ? `earlier: section ${pass.section}, pass ${pass.pass}` : `section ${pass.section}, pass ${pass.pass}`;
    const arm = pass.arm_90 === null ? pass.arm : `${pass.arm} (${pass.arm_90})`;
    for (const cell of [name, pass.took, pass.strokes, arm, pass.in_band, pass.warmest, pass.warnings]) {
      row.appendChild(document.createElement('td')).textContent = cell;
    }
    return row;
  });
  by('rows').replaceChildren(...rows);
  by('rows').parentElement.hidden = rows.length === 0;
  by('no-passes').hidden = rows.length > 0;
}

let sheetShown = null;

function sheet(number) {
  if (number === null || number === sheetShown) return;
  sheetShown = number;
  const address = `/sheet.png?pass=${number}`;
  by('sheet-image').src = address;
  by('sheet-image').alt = `Sheet of section pass ${number}`;
  by('sheet-link').href = address;
  by('sheet').hidden = false;
}

// --- going out ---

function lock(locked) {
  by('locked').hidden = !locked;
  for (const id of ['new-section', 'open-note', 'pause']) by(id).disabled = locked;
}

function press(id, on, words) {
  by(id).setAttribute('aria-pressed', on ? 'true' : 'false');
  text(id, words);
}

async function ask(what, done) {
  let answer;
  try {
    const reply = await fetch('/ask', {
      method: 'POST',
      headers: { 'Content-Type': 'application/json' },
      body: JSON.stringify(what),
    });
    answer = reply.ok ? done : await reply.text();
  } catch {
    answer = 'The computer does not answer; nothing was done.';
  }
  text('answer', answer);
}

by('new-section').onclick = () => ask({ ask: 'new-section' }, 'A new section has begun.');
by('pause').onclick = () => ask({ ask: 'pause', on: !newest.paused }, '');
by('open-note').onclick = () => {
  const form = by('note-form');
  form.hidden = !form.hidden;
  by('open-note').setAttribute('aria-expanded', form.hidden ? 'false' : 'true');
  if (!form.hidden) by('note').focus();
};
by('note-form').onsubmit = (event) => {
  event.preventDefault();
  const words = by('note').value.trim();
  if (words === '') return;
  by('note').value = '';
  by('note-form').hidden = true;
  by('open-note').setAttribute('aria-expanded', 'false');
  ask({ ask: 'note', text: words }, 'Noted.');
};

// --- sound: a low tone for the arm, a rising pair for heat, a tick for the beat ---

let speaker = null;
let sounding = false;
let beating = null;

function tone(hz, from, length, loud) {
  const at = speaker.currentTime + from;
  const [wave, gain] = [speaker.createOscillator(), speaker.createGain()];
  wave.type = 'triangle';
  wave.frequency.value = hz;
  const peak = Math.max(0.0001, (loud * Number(by('volume').value)) / 100);
  gain.gain.setValueAtTime(0.0001, at);
  gain.gain.exponentialRampToValueAtTime(peak, at + 0.012);
  gain.gain.setValueAtTime(peak, at + length - 0.03);
  gain.gain.exponentialRampToValueAtTime(0.0001, at + length);
  wave.connect(gain).connect(speaker.destination);
  wave.start(at);
  wave.stop(at + length);
}

function cue(kind) {
  body.dataset.lastCue = kind;
  if (!sounding || speaker === null) return;
  if (kind === 'heat') {
    tone(660, 0, 0.16, 0.9);
    tone(990, 0.2, 0.24, 0.9);
  } else {
    tone(247, 0, 0.28, 0.9);
  }
}

// A browser lets a page sound only after a press.
function wake() {
  speaker = speaker || new AudioContext();
  speaker.resume();
}

by('sound').onclick = () => {
  wake();
  sounding = !sounding;
  press('sound', sounding, sounding ? 'Turn sound off' : 'Turn sound on');
  if (sounding) tone(660, 0, 0.1, 0.3);
};

function beat() {
  const seconds = newest ? newest.beat_s : 1;
  if (newest && newest.running && !newest.paused && newest.link === 'good') tone(1200, 0, 0.05, 0.2);
  beating = setTimeout(beat, seconds * 1000);
}

by('beat').onclick = () => {
  wake();
  const on = beating === null;
  clearTimeout(beating);
  beating = null;
  press('beat', on, on ? 'Stop the beat' : 'Start the beat');
  if (on) beat();
};

connect();
setInterval(freshness, 250);

// The terminal view in a real terminal (tmux's), at two sizes, with and without colour, and through every way of ending.

import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { test } from 'node:test';

import { Scene, pictures, plan, program, sleep, until } from './support.mjs';

let number = 0;

// A terminal of its own tmux server, with the program in it.
class Terminal {
  constructor(scene, columns, rows, env = {}, more = []) {
    this.socket = `steadypass-${process.pid}-${++number}`;
    const words = [program, 'record', '--plan', plan, '--no-review', '--port', scene.port, '--out', scene.recording, ...more];
    const setting = Object.entries({ LANG: 'C.UTF-8', ...env }).map(([name, value]) => `${name}='${value}'`).join(' ');
    this.tmux('new-session', '-d', '-x', String(columns), '-y', String(rows), `env ${setting} ${words.map((it) => `'${it}'`).join(' ')} 2>&1; echo "ended $?"; sleep 60`);
  }

  tmux(...words) {
    return execFileSync('tmux', ['-f', '/dev/null', '-L', this.socket, ...words], { encoding: 'utf8' });
  }

  get rows() {
    return this.tmux('capture-pane', '-p').split('\n');
  }

  get text() {
    return this.rows.join('\n');
  }

  shows(what) {
    return until(String(what), () => (typeof what === 'string' ? this.text.includes(what) : what.test(this.text)));
  }

  keys(...keys) {
    this.tmux('send-keys', ...keys);
  }

  get pid() {
    const pane = this.tmux('list-panes', '-F', '#{pane_pid}').trim();
    return Number(execFileSync('pgrep', ['-P', pane, '-f', program], { encoding: 'utf8' }).trim().split('\n')[0]);
  }

  close() {
    try {
      this.tmux('kill-server');
    } catch {
      // Gone already.
    }
  }
}

async function inTerminal(scenario, speed, size, env, act, more) {
  const scene = await Scene.with(scenario, speed);
  const terminal = new Terminal(scene, ...size, env, more);
  try {
    await act(terminal, scene);
  } finally {
    terminal.close();
    await scene.end();
  }
}

const whole = (scene) => existsSync(scene.recording) && !existsSync(`${scene.recording}.part`);

test('at 80 by 24: levels, sentence, section, keys, and growing to 120 by 40', () =>
  inTerminal('hasty', 2, [80, 24], {}, async (terminal, scene) => {
    await terminal.shows('sensor: good');
    for (const words of ['Arm speed', 'Orbit rate', 'Surface rise', '% reached', 'q stop']) await terminal.shows(words);
    await terminal.shows('too fast ►');
    await terminal.shows(/[▛▜▙▟]/); // the sentence in large letters
    writeFileSync(join(pictures, 'terminal-80x24.txt'), terminal.text);
    assert.ok(terminal.rows.every((row) => [...row].length <= 80));

    terminal.tmux('resize-window', '-x', '120', '-y', '40');
    await until('the larger picture', () => terminal.rows.findLastIndex((row) => row.includes('q stop')) === 39);
    assert.equal(terminal.rows.filter((row) => row.includes('q stop')).length, 1, 'nothing of the old picture is left');
    writeFileSync(join(pictures, 'terminal-120x40.txt'), terminal.text);
    for (const [x, y] of [[40, 10], [200, 12], [80, 24]]) {
      terminal.tmux('resize-window', '-x', String(x), '-y', String(y));
      await sleep(150);
    }
    await until('the old size', () => terminal.rows.filter((row) => row.includes('q stop')).length === 1);

    terminal.keys('n');
    terminal.keys('-l', "quiet corner");
    terminal.keys('Enter');
    await terminal.shows('Noted: quiet corner');
    terminal.keys('t');
    terminal.keys('-l', 'Technician B');
    terminal.keys('Enter');
    await terminal.shows('Technician B:');
    terminal.keys('p');
    await terminal.shows('p go on');
    terminal.keys('p');
    await terminal.shows('p pause');
    await terminal.shows(/, [1-9] strokes?\b/);
    terminal.keys('s');
    await terminal.shows('Section 2');
    terminal.keys('q');
    await terminal.shows('Stop and save the recording?');
    terminal.keys('n');
    await terminal.shows('q stop');
    terminal.keys('q', 'y');
    await terminal.shows('ended 0');
    assert.ok(whole(scene));
    const stored = readFileSync(scene.recording, 'latin1');
    for (const note of ['quiet corner', 'Technician B', '{"did":"new-section"}', '{"did":"paused"}']) assert.ok(stored.includes(note), note);
  }));

test('without colour: no colour is sent', () =>
  inTerminal('level', 2, [80, 24], { NO_COLOR: '1' }, async (terminal) => {
    await terminal.shows('in band');
    const sent = terminal.tmux('capture-pane', '-p', '-e');
    assert.doesNotMatch(sent, /\x1b\[[0-9;]*\b(3[0-7]|4[0-7]|9[0-7]|10[0-7]|38|48)[;m]/);
  }));

test('without letters beyond ASCII it can be read', () =>
  inTerminal('level', 2, [80, 24], { LANG: 'C', LC_ALL: 'C' }, async (terminal) => {
    await terminal.shows('in band');
    assert.match(terminal.text, /slow \[-+\|/);
    assert.match(terminal.text, /^[\x00-\x7f]*$/);
  }));

test('unplugged and plugged in again while watched', () =>
  inTerminal('level', 1, [80, 24], {}, async (terminal, scene) => {
    await terminal.shows('sensor: good');
    scene.tell('unplug');
    const from = Date.now();
    await terminal.shows('SENSOR LOST');
    assert.ok(Date.now() - from < 2000, `${Date.now() - from} ms`);
    await terminal.shows(/\d s old/);
    writeFileSync(join(pictures, 'terminal-lost.txt'), terminal.text);
    scene.tell('replug');
    await terminal.shows('sensor: good');
    terminal.keys('C-c');
    await terminal.shows('ended 3');
    await terminal.shows('The sensor is back after');
    assert.ok(whole(scene));
  }));

for (const signal of ['SIGTERM', 'SIGHUP', 'SIGINT']) {
  test(`${signal} leaves a whole recording and a usable terminal`, () =>
    inTerminal('level', 1, [80, 24], {}, async (terminal, scene) => {
      await terminal.shows('sensor: good');
      await sleep(500);
      process.kill(terminal.pid, signal);
      await terminal.shows('ended 0');
      assert.ok(whole(scene));
      assert.equal(terminal.tmux('display-message', '-p', '#{alternate_on}').trim(), '0');
    }));
}

test('closing the terminal leaves a whole recording', () =>
  inTerminal('level', 1, [80, 24], {}, async (terminal, scene) => {
    await terminal.shows('sensor: good');
    await sleep(500);
    terminal.close();
    await until('the recording', () => whole(scene), 10_000);
    assert.ok(readFileSync(scene.recording, 'latin1').includes('the terminal was closed'));
  }));

test('not a terminal: plain lines and no control sequences', async () => {
  const scene = await Scene.with('hasty', 4);
  try {
    const child = scene.record();
    await until('a warning', () => /Slow the arm/.test(child.said));
    child.kill('SIGINT');
    assert.equal(await child.over, 0);
    assert.doesNotMatch(child.said, /\x1b/);
    assert.ok(whole(scene));
  } finally {
    await scene.end();
  }
});

test('a drill ends by itself after its strokes and leaves its result beside the recording', async () => {
  const scene = await Scene.with('hasty', 2);
  try {
    const words = ['drill', '--pace-mm-s', '48', '--within-mm-s', '10', '--stroke-m', '0.4', '--strokes', '3', '--technician', 'Technician A'];
    const child = scene.start(program, [...words, '--port', scene.port, '--out', scene.recording]);
    assert.equal(await child.over, 0, child.said);
    assert.match(child.said, /\d of 3 strokes within 48 ± 10 mm\/s/);
    const result = JSON.parse(readFileSync(scene.recording.replace('.mcap', '.drill.json'), 'utf8'));
    assert.equal(result.strokes.length, 3);
    assert.ok(result.strokes.every((it) => it.pace_lo_mm_s < it.pace_mm_s && it.pace_mm_s < it.pace_hi_mm_s));
    assert.ok(existsSync(scene.recording.replace('.mcap', '.drill.csv')) && whole(scene));
  } finally {
    await scene.end();
  }
});

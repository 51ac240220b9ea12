// What the live checks share: the program, a virtual sensor, a folder of their own.

import { spawn } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';

export const program = process.env.STEADYPASS;
export const sensorProgram = process.env.STEADYPASS_SENSOR;
export const pictures = process.env.STEADYPASS_PICTURES;
export const root = new URL('../..', import.meta.url).pathname;
export const plan = join(root, 'data/plans/demo.toml');
export { sleep };

// Waits until `look` gives something true; says what was last seen when it never does.
export async function until(what, look, ms = 30_000) {
  const end = Date.now() + ms;
  let seen;
  for (;;) {
    try {
      seen = await look();
    } catch (error) {
      seen = error;
    }
    if (seen && !(seen instanceof Error)) return seen;
    if (Date.now() > end) throw new Error(`${what}: not within ${ms / 1000} s; last seen: ${seen}`);
    await sleep(50);
  }
}

export async function freePort() {
  const server = createServer();
  await new Promise((done) => server.listen(0, '127.0.0.1', done));
  const { port } = server.address();
  await new Promise((done) => server.close(done));
  return port;
}

// A scene: a folder, a sensor behind a path in it, and whatever is started; ended as a whole.
export class Scene {
  folder = mkdtempSync(join(tmpdir(), 'steadypass-live-'));
  port = join(this.folder, 'sensor');
  recording = join(this.folder, 'run.mcap');
  children = [];

  static async with(scenario, speed = 1) {
    const scene = new Scene();
    scene.sensor = scene.start(sensorProgram, [scene.port, scenario, String(speed)]);
    await until('the virtual sensor', () => existsSync(scene.port));
    return scene;
  }

  start(command, words, env = {}) {
    const child = spawn(command, words, { stdio: ['pipe', 'pipe', 'pipe'], env: { ...process.env, ...env } });
    child.said = '';
    child.stdout.on('data', (bytes) => (child.said += bytes));
    child.stderr.on('data', (bytes) => (child.said += bytes));
    child.over = new Promise((done) => child.on('exit', (code, signal) => done(code ?? signal)));
    this.children.push(child);
    return child;
  }

  tell(command) {
    this.sensor.stdin.write(`${command}\n`);
  }

  record(...more) {
    return this.start(program, ['record', '--plan', plan, '--no-review', '--port', this.port, '--out', this.recording, ...more]);
  }

  // Records with a page and waits until it is served; the link that serves once is in `link`.
  async withPage(...more) {
    const port = await freePort();
    const child = this.record(`--page=${port}`, ...more);
    const link = await until('the link', () => child.said.match(/http:\/\/\S+\?k=\w+/)?.[0]);
    const site = new URL(link).origin;
    await until('the page', async () => (await fetch(`${site}/icon.svg`)).status > 0);
    return { child, link, site, port };
  }

  async end() {
    for (const child of this.children) {
      child.kill('SIGCONT');
      child.kill('SIGTERM');
    }
    await Promise.race([Promise.all(this.children.map((child) => child.over)), sleep(5000)]);
    for (const child of this.children) child.kill('SIGKILL');
    rmSync(this.folder, { recursive: true, force: true });
  }
}

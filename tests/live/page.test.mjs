// The live page in a real browser.

import assert from 'node:assert/strict';
import { existsSync, readFileSync } from 'node:fs';
import { request } from 'node:http';
import { createRequire } from 'node:module';
import { networkInterfaces } from 'node:os';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';

import { chromium } from 'playwright-core';

import { Scene, pictures, sleep, until } from './support.mjs';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const PHONE = { width: 360, height: 740 };
const WALL = { width: 1920, height: 1080 };

let browser;
before(async () => {
  browser = await chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-dev-shm-usage', '--autoplay-policy=no-user-gesture-required'],
  });
});
after(() => browser?.close());

// A visitor who notes every request and every complaint of the page.
async function visitor(size) {
  const context = await browser.newContext({ viewport: size });
  const seen = { requests: [], complaints: [] };
  context.on('request', (it) => seen.requests.push(it.url()));
  context.on('console', (it) => it.type() === 'error' && seen.complaints.push(it.text()));
  context.on('weberror', (it) => seen.complaints.push(String(it.error())));
  return { context, seen, page: await context.newPage() };
}

const words = (page, id) => page.locator(`#${id}`).textContent();
// The orbit's is seldom at its end, where it would stand still.
const bubble = (page) => page.locator('.level[data-quantity="orbit-rate"] .bubble').evaluate((it) => it.style.left);

async function accessible(page) {
  // The page's own policy forbids foreign scripts, so the checker runs through the debugger's door.
  const found = await page.evaluate(`${axe}; axe.run(document, { resultTypes: ['violations'] })`);
  return found.violations.map((it) => `${it.id}: ${it.help}: ${it.nodes.map((node) => node.target).join(' ')}`);
}

// A bare request, with headers that a browser or fetch would not let us set.
const bare = (site, options, text) =>
  new Promise((done, failed) => {
    const url = new URL(site);
    const it = request({ host: url.hostname, port: url.port, path: '/', ...options }, (reply) => {
      reply.resume();
      done(reply);
    });
    it.on('error', failed);
    it.end(text);
  });

describe('a hasty stroke, seen on the page', () => {
  let scene, shown, phone;
  before(async () => {
    scene = await Scene.with('hasty', 2);
    shown = await scene.withPage();
    phone = await visitor(PHONE);
    await phone.page.goto(shown.link);
  });
  after(() => scene.end());

  test('the link leads in and leaves the address bar without its key', async () => {
    assert.equal(phone.page.url(), `${shown.site}/`);
    await until('the sensor', async () => (await words(phone.page, 'link')) === 'sensor good');
  });

  test('levels move with the sensor, and the sentence appears', async () => {
    const first = await until('a bubble', () => bubble(phone.page));
    await until('its moving', async () => (await bubble(phone.page)) !== first);
    await until('the sentence', async () => (await words(phone.page, 'sentence')) === 'Slow the arm');
    assert.equal(await phone.page.locator('body').getAttribute('data-urgency'), 'pace');
    assert.equal(await phone.page.locator('body').getAttribute('data-last-cue'), 'slow-down');
    const word = await until('the word', async () => phone.page.locator('.level[data-quantity="arm-pace"] .word').textContent());
    assert.match(word, /too fast ►/);
    await phone.page.screenshot({ path: join(pictures, 'phone.png'), fullPage: true });
  });

  test('on a phone nothing runs over the edge, and the checker finds nothing', async () => {
    const width = await phone.page.evaluate(() => document.documentElement.scrollWidth);
    assert.ok(width <= PHONE.width, `${width} px wide`);
    assert.deepEqual(await accessible(phone.page), []);
  });

  test('on the wall the sentence can be read from afar, and the checker finds nothing', async () => {
    await phone.page.setViewportSize(WALL);
    await until('the sentence', async () => (await words(phone.page, 'sentence')) !== '');
    await phone.page.screenshot({ path: join(pictures, 'wall.png') });
    const height = await phone.page.locator('#sentence').evaluate((it) => parseFloat(getComputedStyle(it).fontSize));
    assert.ok(height > 100, `${height} px`);
    assert.deepEqual(await accessible(phone.page), []);
    await phone.page.setViewportSize(PHONE);
  });

  test('a second tab shows the same and may press the same', async () => {
    const tab = await phone.context.newPage();
    await tab.goto(`${shown.site}/`);
    await until('figures', async () => (await words(tab, 'link')) === 'sensor good');
    assert.equal(await tab.locator('#new-section').isEnabled(), true);
    await tab.close();
  });

  test('a note and a new section are handed in and shown', async () => {
    await until('a stroke', async () => /stroke/.test(await words(phone.page, 'place')));
    await phone.page.click('#open-note');
    await phone.page.fill('#note', 'soft spot <b>');
    await phone.page.click('#note-form button');
    await until('the answer', async () => (await words(phone.page, 'answer')) === 'Noted.');
    await phone.page.click('#new-section');
    await until('the new section', async () => /^Section 2/.test(await words(phone.page, 'place')));
    assert.equal(await words(phone.page, 'answer'), 'A new section has begun.');
  });

  test('a pause is quiet', async () => {
    await phone.page.click('#pause');
    await until('the pause', async () => (await words(phone.page, 'sentence')) === 'Paused');
    await phone.page.click('#pause');
    await until('its end', async () => (await words(phone.page, 'sentence')) !== 'Paused');
  });

  test('without the link one may look and not press', async () => {
    const guest = await visitor(PHONE);
    await guest.page.goto(shown.link); // used already
    await until('figures', async () => (await words(guest.page, 'link')) === 'sensor good');
    assert.equal(await guest.page.locator('#new-section').isDisabled(), true);
    assert.equal(await guest.page.locator('#locked').isVisible(), true);
    const status = await guest.page.evaluate(async () => {
      const options = { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: '{"ask":"new-section"}' };
      return (await fetch('/ask', options)).status;
    });
    assert.equal(status, 401);
    await guest.context.close();
  });

  test('a foreign name, a foreign origin and a flood of text are refused', async () => {
    const host = new URL(shown.site).host;
    assert.equal((await bare(shown.site, { headers: { Host: 'shop.example' } })).statusCode, 421);
    const [cookie] = await phone.context.cookies();
    assert.ok(cookie.httpOnly && cookie.sameSite === 'Strict');
    const post = (headers, text) =>
      bare(shown.site, { method: 'POST', path: '/ask', headers: { Host: host, 'Content-Type': 'application/json', Cookie: `${cookie.name}=${cookie.value}`, ...headers } }, text);
    const ours = { Origin: shown.site };
    assert.equal((await post({ Origin: 'http://shop.example' }, '{"ask":"new-section"}')).statusCode, 403);
    assert.equal((await post(ours, JSON.stringify({ ask: 'note', text: 'x'.repeat(5000) }))).statusCode, 413);
    assert.equal((await post(ours, '{"ask":"format-disk"}')).statusCode, 422);
    assert.equal((await post(ours, '{"ask":"note","text":"  "}')).statusCode, 422);
    const page = await bare(shown.site, { headers: { Host: host } });
    assert.match(page.headers['content-security-policy'], /default-src 'none'/);
    assert.equal(page.headers['access-control-allow-origin'], undefined);
  });

  test('an unplugged sensor is shown within two seconds, and so is its return', async () => {
    scene.tell('unplug');
    const from = Date.now();
    await until('the loss', async () => /sensor lost/.test(await words(phone.page, 'link')));
    assert.ok(Date.now() - from < 2000, `${Date.now() - from} ms`);
    await until('the sentence', async () => /check the sensor's lead/.test(await words(phone.page, 'sentence')));
    assert.deepEqual(await accessible(phone.page), []);
    scene.tell('replug');
    await until('the return', async () => (await words(phone.page, 'link')) === 'sensor good');
  });

  test('a computer that has stopped is shown as silent within two seconds, and comes back by itself', async () => {
    shown.child.kill('SIGSTOP');
    const from = Date.now();
    await until('the silence', async () => /no news from the computer/.test(await words(phone.page, 'link')));
    assert.ok(Date.now() - from < 2000, `${Date.now() - from} ms`);
    assert.match(await words(phone.page, 'sentence'), /No news/);
    await phone.page.evaluate(() => scrollTo(0, document.body.scrollHeight));
    const box = await phone.page.locator('#sentence').boundingBox();
    assert.ok(box.y >= 0 && box.y + box.height <= PHONE.height, `the sentence stays in sight: ${JSON.stringify(box)}`);
    await phone.page.screenshot({ path: join(pictures, 'stale.png') });
    shown.child.kill('SIGCONT');
    await until('the return', async () => (await words(phone.page, 'link')) === 'sensor good');
  });

  test('the page asked nobody else and complained of nothing', () => {
    const elsewhere = phone.seen.requests.filter((url) => !url.startsWith(`${shown.site}/`));
    assert.deepEqual(elsewhere, []);
    assert.ok(phone.seen.requests.length > 5);
    assert.deepEqual(phone.seen.complaints, []);
  });

  test('when the recording ends the page says so, and the recording is whole', async () => {
    shown.child.kill('SIGINT');
    await until('the end', async () => (await words(phone.page, 'link')) === 'the recording has ended');
    assert.equal(await shown.child.over, 3, 'the unplugging cost data');
    assert.ok(existsSync(scene.recording));
    const stored = readFileSync(scene.recording, 'latin1');
    for (const note of ['{"did":"new-section"}', 'soft spot <b>', '{"did":"paused"}', '{"did":"resumed"}']) {
      assert.ok(stored.includes(note), `${note} is in the recording`);
    }
  });
});

describe('a panel that gets too hot', () => {
  test('the page says to lift, in the look of heat, with the rising pair', async () => {
    const scene = await Scene.with('hot', 2);
    try {
      const { link } = await scene.withPage();
      const { page, context } = await visitor(WALL);
      await page.goto(link);
      await until('the sentence', async () => /^Lift and let it cool/.test(await words(page, 'sentence')), 60_000);
      const body = page.locator('body');
      assert.equal(await body.getAttribute('data-urgency'), 'heat');
      assert.equal(await body.getAttribute('data-last-cue'), 'heat');
      const word = page.locator('.level[data-quantity="surface-rise"] .word');
      await until('the word', async () => /too hot ►/.test(await word.textContent()));
      await page.screenshot({ path: join(pictures, 'heat.png') });
      assert.deepEqual(await accessible(page), []);
      await context.close();
    } finally {
      await scene.end();
    }
  });
});

describe('on the network', () => {
  test('nothing is seen without the key, and the link serves once', async () => {
    const scene = await Scene.with('level');
    try {
      const { site, link } = await scene.withPage('--listen', '0.0.0.0');
      const own = Object.values(networkInterfaces()).flat().map((it) => it.address);
      assert.ok(own.includes(new URL(site).hostname), `${site} is this computer`);
      for (const path of ['/', '/events', '/sheet.png', '/live.js']) assert.equal((await fetch(site + path)).status, 401, path);
      const first = await fetch(link, { redirect: 'manual' });
      assert.equal(first.status, 303);
      const cookie = first.headers.get('set-cookie').split(';')[0];
      assert.equal((await fetch(link, { redirect: 'manual' })).status, 401, 'a second time');
      assert.equal((await fetch(`${site}/`, { headers: { cookie } })).status, 200);
    } finally {
      await scene.end();
    }
  });
});

describe('what is in the way is said before anything is recorded', () => {
  test('a page port that is taken', async () => {
    const scene = await Scene.with('level');
    try {
      const { port } = await scene.withPage();
      const second = scene.start(process.env.STEADYPASS, ['record', '--port', scene.port, '--out', join(scene.folder, 'b.mcap'), `--page=${port}`]);
      assert.equal(await second.over, 1);
      assert.match(second.said, new RegExp(`cannot use 127.0.0.1:${port}: another program has it .*choose another port, for example ${port + 1}`));
      assert.ok(!existsSync(join(scene.folder, 'b.mcap')) && !existsSync(join(scene.folder, 'b.mcap.part')));
    } finally {
      await scene.end();
    }
  });

  test('a sensor that another recording has', async () => {
    const scene = await Scene.with('level');
    try {
      const first = scene.record();
      await until('the first', () => /Recording/.test(first.said));
      await sleep(300);
      const second = scene.start(process.env.STEADYPASS, ['record', '--port', scene.port, '--out', join(scene.folder, 'b.mcap')]);
      assert.equal(await second.over, 1);
      assert.match(second.said, /is in use by another program; close that/);
    } finally {
      await scene.end();
    }
  });
});

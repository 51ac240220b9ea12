// A finished pass on the page: its sheet, its row in the list.

import assert from 'node:assert/strict';
import { join } from 'node:path';
import { test } from 'node:test';

import { chromium } from 'playwright-core';

import { Scene, pictures, until } from './support.mjs';

test('a finished pass is listed and its sheet shown', async () => {
  const scene = await Scene.with('demo', 5);
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: ['--no-sandbox', '--disable-dev-shm-usage'] });
  try {
    const { link } = await scene.withPage();
    const page = await browser.newPage({ viewport: { width: 1920, height: 1080 } });
    await page.goto(link);
    const rows = page.locator('#rows tr');
    // How the work is split into passes is the analysis's affair and tested there; the newest comes first.
    await until('two passes', async () => (await rows.count()) >= 2, 90_000);
    assert.match(await rows.first().textContent(), new RegExp(`section 1, pass ${await rows.count()}`));
    const width = () => page.locator('#sheet-image').evaluate((it) => (it.complete ? it.naturalWidth : 0));
    await until('the sheet', async () => (await width()) === 1800);
    assert.match(await page.locator('#covered').textContent(), /([5-9]\d|100) % reached/);
    await page.screenshot({ path: join(pictures, 'wall-whole.png'), fullPage: true });
  } finally {
    await browser.close();
    await scene.end();
  }
});

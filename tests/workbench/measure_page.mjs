// How quick the page is, by hand and never in CI:
//
//   node measure_page.mjs PROGRAM NODE_MODULES SHOT_OR_FOLDER TEMPLATE
//
// A tie's nudge until the page shows the new figures, a click until its tie is there, a turn of the
// sphere until the look is sharp, and frames a second while the ring is dragged. Edits the shot: give a copy.
import { spawn } from 'node:child_process';
import { createRequire } from 'node:module';
import { join, resolve } from 'node:path';

const [program, modules, place, template] = process.argv.slice(2).map((text) => resolve(text));
const { chromium } = createRequire(join(modules, 'here.js'))('playwright-core');
const child = spawn(program, ['workbench', place, '--template', template]);
let told = '';
for await (const chunk of child.stderr) {
  told += chunk;
  if (told.includes('http://')) break;
}
const browser = await chromium.launch({
  executablePath: '/usr/bin/chromium',
  args: ['--headless', '--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run',
    '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});
const median = (values) => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)];
const worst = (values) => Math.max(...values);
try {
  const page = await browser.newPage({ viewport: { width: 1280, height: 720 } });
  await page.goto(told.match(/http:\/\/\S+/)[0]);
  for (let i = 0; i < 200 && (await page.textContent('#figures')) === ''; ++i) await page.waitForTimeout(50);
  await page.waitForTimeout(1500);

  // In the page: from the event until the list of ties has changed and a frame was drawn.
  const timed = (act) => page.evaluate(async (what) => {
    const ring = document.querySelector('#ring');
    const box = ring.getBoundingClientRect();
    const list = document.querySelector('#ties');
    const begin = performance.now();
    const changed = new Promise((done) => {
      const watch = new MutationObserver(() => { watch.disconnect(); done(true); });
      watch.observe(list, { childList: true });
      setTimeout(() => { watch.disconnect(); done(false); }, 2000);
    });
    if (what.key) ring.dispatchEvent(new KeyboardEvent('keydown', { key: what.key, bubbles: true }));
    else {
      for (const kind of ['pointerdown', 'pointerup']) {
        ring.dispatchEvent(new PointerEvent(kind, { clientX: box.x + what.x * box.width, clientY: box.y + what.y * box.height, pointerId: 1, bubbles: true }));
      }
    }
    if (!(await changed)) return null;
    await new Promise(requestAnimationFrame);
    await new Promise(requestAnimationFrame);
    return performance.now() - begin;
  }, act);
  await page.evaluate(() => { document.querySelector('#ring').setPointerCapture = () => {}; });
  const clicks = [];
  for (let x = 0.03; x < 0.97 && clicks.length < 8; x += 0.04) {
    const ms = await timed({ x, y: 0.14 });
    if (ms !== null) clicks.push(ms);
  }
  console.log(`click to tie and arrows: median ${median(clicks).toFixed(0)} ms, worst ${worst(clicks).toFixed(0)} ms of ${clicks.length}`);
  const nudges = [];
  for (let i = 0; i < 20; ++i) nudges.push(await timed({ key: i % 2 ? 'ArrowLeft' : 'ArrowRight' }));
  const done = nudges.filter((ms) => ms !== null);
  console.log(`nudge to updated arrows: median ${median(done).toFixed(0)} ms, worst ${worst(done).toFixed(0)} ms of ${done.length}`);

  // A turn of the sphere until the sharp look is there, the rest that it waits for (140 ms) included.
  const looks = [];
  for (let i = 0; i < 12; ++i) {
    looks.push(await page.evaluate(async () => {
      const sphere = document.querySelector('#sphere');
      const begin = performance.now();
      sphere.dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowRight', bubbles: true }));
      while (sphere.dataset.sharp !== 'true') await new Promise(requestAnimationFrame);
      return performance.now() - begin;
    }));
    await page.waitForTimeout(600); // the other look, of before, is drawn
  }
  console.log(`turn of the sphere to sharp look: median ${median(looks).toFixed(0)} ms, worst ${worst(looks).toFixed(0)} ms of ${looks.length}`);

  for (const zoom of [0, 5]) {
    for (let i = 0; i < zoom; ++i) await page.click('#zoom-in');
    const rate = await page.evaluate(async () => {
      const ring = document.querySelector('#ring');
      const send = (kind, x) => ring.dispatchEvent(new PointerEvent(kind, { clientX: 300 + x, clientY: ring.getBoundingClientRect().bottom - 20, pointerId: 1, bubbles: true }));
      send('pointerdown', 0);
      const begin = performance.now();
      for (let i = 1; i <= 120; ++i) {
        send('pointermove', 5 * i);
        await new Promise(requestAnimationFrame);
      }
      const seconds = (performance.now() - begin) / 1000;
      ring.dispatchEvent(new PointerEvent('pointercancel', { pointerId: 1 }));
      return 120 / seconds;
    });
    console.log(`dragging the ring, ${zoom ? 'zoomed in' : 'whole'}: ${rate.toFixed(0)} frames a second`);
  }
} finally {
  await browser.close();
  child.kill('SIGINT');
}

// Opens a tour in a real browser, from the disk and from a plain web server:
//
//   node tour_page_test.mjs PROGRAM NODE_MODULES SCRATCH [PICTURES]
//
// Its panoramas say in each pixel's red and green which way it looks, so that a screenshot tells what
// the page shows where. PICTURES: a folder for screenshots. Exit 77: something to test with is
// missing (a failure where CI=true).
import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { createRequire } from 'node:module';
import { join, normalize } from 'node:path';
import { pathToFileURL } from 'node:url';
import { deflateSync } from 'node:zlib';

const [program, modules, scratch, pictures] = process.argv.slice(2);
const CHROMIUM = '/usr/bin/chromium';
if (!existsSync(CHROMIUM) || !existsSync(join(modules, 'playwright-core'))) {
  console.log('chromium or playwright-core is not installed');
  process.exit(process.env.CI === 'true' ? 1 : 77);
}
const require = createRequire(join(modules, 'here.js'));
const { chromium } = require('playwright-core');
const axe = readFileSync(require.resolve('axe-core'), 'utf8');

// --- a house of three rooms ------------------------------------------------------------------------------

const WIDTH = 2048;

// PNG (RFC 2083) of 8 bits: a chunk is its length, name, content and CRC-32.
function chunk(name, content) {
  const body = Buffer.concat([Buffer.from(name, 'latin1'), content]);
  let crc = ~0;
  for (const byte of body) {
    crc ^= byte;
    for (let bit = 0; bit < 8; ++bit) crc = (crc >>> 1) ^ (crc & 1 ? 0xedb88320 : 0);
  }
  const out = Buffer.alloc(body.length + 8);
  out.writeUInt32BE(content.length, 0);
  body.copy(out, 4);
  out.writeUInt32BE(~crc >>> 0, body.length + 4);
  return out;
}

// Red grows with the cosine of the longitude, green with its sine, blue with the latitude.
function panorama(level) {
  const rows = Buffer.alloc((WIDTH / 2) * (3 * WIDTH + 1));
  for (let y = 0; y < WIDTH / 2; ++y) {
    const lat = 90 - (180 * (y + 0.5)) / (WIDTH / 2);
    for (let x = 0; x < WIDTH; ++x) {
      const lon = ((360 * (x + 0.5)) / WIDTH - 180) * (Math.PI / 180);
      const at = y * (3 * WIDTH + 1) + 1 + 3 * x;
      rows[at] = Math.round(128 + level * Math.cos(lon));
      rows[at + 1] = Math.round(128 + level * Math.sin(lon));
      rows[at + 2] = Math.round(128 + lat);
    }
  }
  const head = Buffer.alloc(13);
  head.writeUInt32BE(WIDTH, 0);
  head.writeUInt32BE(WIDTH / 2, 4);
  head.set([8, 2, 0, 0, 0], 8);
  return Buffer.concat([Buffer.from('\x89PNG\r\n\x1a\n', 'latin1'), chunk('IHDR', head),
    chunk('IDAT', deflateSync(rows)), chunk('IEND', Buffer.alloc(0))]);
}

rmSync(scratch, { recursive: true, force: true });
mkdirSync(join(scratch, 'rooms'), { recursive: true });
const LEVELS = { hall: 120, 'breakfast room 50%': 100, yard: 80 };
for (const [name, level] of Object.entries(LEVELS)) {
  writeFileSync(join(scratch, 'rooms', `${name}.png`), panorama(level));
}
const HEADING = { hall: 20, 'breakfast room 50%': -100 };
const stand = (shot, right, ahead) => ({
  shot, network: 0, position_m: [right, 0, ahead], position_sigma_m: [0, 0, 0],
  heading_deg: HEADING[shot], heading_sigma_deg: 0,
});
writeFileSync(join(scratch, 'stands.json'), JSON.stringify({
  format: 'seamwright-map', version: 1, axes: 'of the test', body: 'Lantern 0117',
  stands: [stand('hall', 0, 0), stand('breakfast room 50%', 3, 1), { shot: 'yard', network: null }],
}));
const run = (...args) => spawnSync(program, ['tour', ...args], { encoding: 'utf8' });
const tourFile = join(scratch, 'house.tour.json');
const out = join(scratch, 'tour');
const files = Object.keys(LEVELS).map((name) => join(scratch, 'rooms', `${name}.png`));
const first = run(...files, '--map', join(scratch, 'stands.json'), '--save', tourFile, '--title', 'Guest house',
  '--out', out);
assert.equal(first.status, 2, first.stderr);
assert.match(first.stderr, /stands: have no place for yard/);
assert.match(first.stderr, /no link leads from hall to yard/);

// A person gives the yard a way by hand, and a name that would break a careless page.
const EVIL = '</script><script>document.title="broken"</script><b>Yard';
const tour = JSON.parse(readFileSync(tourFile, 'utf8'));
tour.rooms.find((room) => room.name === 'yard').title = EVIL;
tour.links.push({ from: 'hall', to: 'yard', found: 'by hand', from_deg: 90, to_deg: -45 });
writeFileSync(tourFile, JSON.stringify(tour));
const second = run(tourFile, '--out', out);
assert.equal(second.status, 0, second.stderr);
assert.match(second.stderr, /0 rooms cut, 3 cut before/);

// --- in the browser --------------------------------------------------------------------------------------

const browser = await chromium.launch({
  executablePath: CHROMIUM,
  args: ['--headless', '--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run',
    '--disable-background-networking', '--disable-component-update', '--disable-sync'],
});
const faults = [];
const asked = new Set();

async function until(page, truth, patience_ms = 60000) {
  for (let waited = 0; waited < patience_ms; waited += 50) {
    if (await page.evaluate(truth)) return;
    await page.waitForTimeout(50);
  }
  throw new Error(`never came true: ${truth}`);
}
// Shown, as fine as it gets, and alone.
const settled = async (page, room) => {
  await until(page, `document.getElementById('view').dataset.room === ${JSON.stringify(room)}`);
  await until(page, "document.querySelectorAll('.scene').length === 1");
  await until(page, "document.getElementById('view').dataset.size === '652'");
  await page.waitForTimeout(500);
};
async function open(address, form) {
  const page = await (await browser.newContext(form)).newPage();
  page.on('pageerror', (error) => faults.push(String(error)));
  page.on('console', (message) => { if (message.type() === 'error') faults.push(message.text()); });
  page.on('request', (request) => asked.add(request.url()));
  await page.goto(address);
  return page;
}

// Which way a pixel of the page looks, by its colour. The panels and lanterns are hidden for it.
const DEG = 180 / Math.PI;
async function directions(page, points) {
  const hidden = await page.addStyleTag({ content: '' }).catch(() => null);
  assert.equal(hidden, null, 'the policy lets foreign styles in');
  await page.evaluate(() => {
    for (const part of document.querySelectorAll('header, nav, #marks')) part.style.visibility = 'hidden';
    for (const mark of document.querySelectorAll('.mark')) mark.style.visibility = 'hidden';
  });
  const shot = (await page.screenshot()).toString('base64');
  await page.evaluate(() => {
    for (const part of document.querySelectorAll('header, nav, #marks, .mark')) part.style.visibility = '';
  });
  const reader = await (await browser.newContext()).newPage();
  const colours = await reader.evaluate(async ([source, places]) => {
    const image = new Image();
    image.src = `data:image/png;base64,${source}`;
    await image.decode();
    const canvas = new OffscreenCanvas(image.width, image.height);
    const context = canvas.getContext('2d');
    context.drawImage(image, 0, 0);
    return places.map(([x, y]) => [...context.getImageData(x - 2, y - 2, 5, 5).data]
      .reduce((sums, code, i) => { sums[i % 4] += code / 25; return sums; }, [0, 0, 0, 0]));
  }, [shot, points.map(([x, y]) => [Math.round(x), Math.round(y)])]);
  await reader.close();
  return colours.map(([r, g, b]) => ({
    lon: Math.atan2(g - 128, r - 128) * DEG, lat: b - 128, level: Math.hypot(r - 128, g - 128),
  }));
}
const apart = (a, b) => Math.abs(((a - b + 540) % 360) - 180);
function near(got, wanted, within, what) {
  assert.ok(apart(got, wanted) < within, `${what}: ${got} instead of ${wanted}`);
}
// Along a row of the window each pixel looks where a flat picture of this field looks: no piece is missing or
// moved. The field is 80 degrees of the shorter side; the row is that of the middle, which looks level to `lon`.
async function checkRow(page, form, lon, what) {
  const [x, y] = middle(form);
  const f = Math.min(form.viewport.width, form.viewport.height) / 2 / Math.tan(40 / DEG);
  const offsets = [];
  for (let dx = -0.9 * x; dx <= 0.9 * x; dx += 12) offsets.push(dx);
  // Without the coarse pictures beneath, which would stand in for a missing piece.
  const coarse = (visibility) => page.evaluate((value) => {
    document.querySelector('.cube').style.visibility = value;
  }, visibility);
  await coarse('hidden');
  const row = await directions(page, offsets.map((dx) => [x + dx, y]));
  await coarse('');
  row.forEach((seen, i) => near(seen.lon, lon + Math.atan2(offsets[i], f) * DEG, 1,
    `${what}, ${offsets[i].toFixed(0)} px from the middle`));
}
const markOf = (page, title) => page.locator('.mark', { hasText: title });
// Where a lantern stands: the middle of its foot.
const footOf = async (page, title) => {
  const box = await markOf(page, title).boundingBox();
  return [box.x + 28, box.y + 60];
};
const middle = (form) => [form.viewport.width / 2, form.viewport.height / 2];

async function walkThrough(address, form, name) {
  const page = await open(address, form);
  await settled(page, 'hall');
  assert.equal(await page.locator('#here').textContent(), 'hall'.replace('h', 'H'));
  const [ahead, right] = await directions(page, [middle(form),
    [middle(form)[0] + 100, middle(form)[1]]]);
  near(ahead.lon, 0, 1, 'ahead');
  near(ahead.lat, 0, 1.5, 'level');
  for (let turns = 0; turns < 9; ++turns) {
    await checkRow(page, form, turns * 6 * (80 / 12), `${name} after ${turns} turns`);
    await page.locator('#view').focus();
    for (let i = 0; i < 6; ++i) await page.keyboard.press('ArrowRight');
    await page.waitForTimeout(200);
  }
  assert.ok(right.lon > 3, `what is right of the middle is to the right: ${right.lon}`);

  // Where the neighbour stands: atan2(3, 1) on the map, seen from a middle that looks to 20 degrees.
  const bearing = Math.atan2(3, 1) * DEG - HEADING.hall;
  if (await page.locator('#menu').getAttribute('open') === null) await page.locator('summary').click();
  const list = page.locator('#next button', { hasText: 'Breakfast' });
  assert.match(await list.textContent(), /3\.2 m/);
  await page.keyboard.press('Tab');
  await list.focus();
  await until(page, "!document.querySelector('.mark').hidden");
  await page.waitForTimeout(300);
  const foot = await footOf(page, 'Breakfast');
  const [place] = await directions(page, [foot]);
  near(place.lon, bearing, 1, 'the lantern of the breakfast room');
  near(place.lat, -Math.atan2(1.5, Math.hypot(3, 1)) * DEG, 1.5, 'on its floor');
  if (pictures) await page.screenshot({ path: join(pictures, `${name}_hall.png`) });
  assert.deepEqual(await violations(page), []);

  // What one looks at stays ahead: the same bearing on the map.
  const [before] = await directions(page, [middle(form)]);
  if (form.viewport.width < 600) await page.locator('summary').click();
  await markOf(page, 'Breakfast').click();
  await settled(page, 'breakfast room 50%');
  const [after] = await directions(page, [middle(form)]);
  near(after.level, LEVELS['breakfast room 50%'], 6, 'another room is shown');
  near(after.lon + HEADING['breakfast room 50%'], before.lon + HEADING.hall, 1, 'north stays north');
  assert.match(await page.title(), /Breakfast room 50% – Guest house/);

  // Back by the browser's own button, and on by the way that a person gave.
  await page.goBack();
  await settled(page, 'hall');
  if (await page.locator('#menu').getAttribute('open') === null) await page.locator('summary').click();
  await page.locator('#next button', { hasText: 'Yard' }).press('Enter');
  await settled(page, 'yard');
  assert.equal(await page.locator('#here').textContent(), EVIL);
  assert.notEqual(await page.title(), 'broken');
  assert.equal(await page.locator('b').count(), 0);
  const [yard] = await directions(page, [middle(form)]);
  near(yard.lon, -45 + 180, 1, 'the way back is behind');

  // Arrow keys look around, and a finger drags the picture along.
  await page.locator('#view').focus();
  await page.keyboard.press('ArrowRight');
  await page.waitForTimeout(200);
  const [turned] = await directions(page, [middle(form)]);
  assert.ok(turned.lon - yard.lon > 2 || turned.lon - yard.lon < -300, `right turns right: ${turned.lon}`);
  const [x, y] = middle(form);
  const [under] = await directions(page, [[x, y + 60]]);
  await page.mouse.move(x, y + 60);
  await page.mouse.down();
  await page.mouse.move(x, y, { steps: 4 });
  await page.mouse.up();
  await page.waitForTimeout(200);
  const [dragged] = await directions(page, [[x, y]]);
  near(dragged.lat, under.lat, 2, 'what is dragged stays under the finger');
  if (pictures) await page.screenshot({ path: join(pictures, `${name}_yard.png`) });
  await page.context().close();
}
async function violations(page) {
  await page.evaluate(axe);
  return (await page.evaluate(() => axe.run())).violations.map((v) => v.id);
}

// A web server that knows nothing but files.
const server = createServer((request, response) => {
  const path = normalize(decodeURIComponent(new URL(request.url, 'http://x').pathname));
  const file = join(out, path === '/' ? 'index.html' : path);
  if (!existsSync(file)) { response.writeHead(404); response.end(); return; }
  response.writeHead(200, { 'Content-Type': file.endsWith('.html') ? 'text/html' : 'image/jpeg' });
  response.end(readFileSync(file));
});
await new Promise((resolve) => server.listen(0, '127.0.0.1', resolve));

try {
  if (pictures) mkdirSync(pictures, { recursive: true });
  const page = pathToFileURL(join(out, 'index.html')).href;
  await walkThrough(page, { viewport: { width: 1280, height: 720 } }, 'disk_1280');
  await walkThrough(page, { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true }, 'disk_telephone');
  const served = `http://127.0.0.1:${server.address().port}/`;
  await walkThrough(served, { viewport: { width: 1280, height: 720 } }, 'served_1280');
  assert.deepEqual(faults.filter((fault) => !fault.includes('Content Security Policy')), []);
  const inside = [pathToFileURL(out).href, served];
  assert.deepEqual([...asked].filter((url) => !inside.some((place) => url.startsWith(place))), []);
  console.log(`the tour is walked through three times; ${asked.size} files were asked for`);
} finally {
  await browser.close();
  server.close();
}

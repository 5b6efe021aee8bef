// A leaning stand in the page: upright edges marked by mouse and by keyboard, undone, brought back after a
// kill, saved; then stitched and checked.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { correlation } from './pictures.mjs';
import { shotView } from './shot_view.mjs';

const rad = (deg) => (deg * Math.PI) / 180;
const deg = (angle) => (angle * 180) / Math.PI;
const dot = (a, b) => a.reduce((sum, value, i) => sum + value * b[i], 0);
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const unit = (a) => a.map((value) => value / Math.hypot(...a));
const mixed = (p, a, q, b) => a.map((value, i) => p * value + q * b[i]);
const angle_deg = (a, b) => deg(Math.atan2(Math.hypot(...cross(a, b)), dot(a, b)));
const direction = ([longitude, latitude]) => [Math.cos(rad(latitude)) * Math.sin(rad(longitude)), -Math.sin(rad(latitude)),
  Math.cos(rad(latitude)) * Math.cos(rad(longitude))];
const transposed = (rows) => rows[0].map((_, i) => rows.map((row) => row[i]));
const times = (rows, d) => rows.map((row) => dot(row, d));
const UNTURNED = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];

// World's down in the rig, as the demo wrote it.
function trueDown(folder) {
  const { shots } = JSON.parse(readFileSync(join(folder, 'truth', 'poses.json'), 'utf8'));
  const [w, x, y, z] = shots[0].world_from_rig_quaternion_wxyz;
  return [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)];
}

/** `tools`: what page_test.mjs works with; `folder`: the demo's, with its one shot `name`. */
export async function levelByHand({ browser, serve, ended, open, until, picture, fine, scratch }, folder, name) {
  const down = trueDown(folder);
  assert.ok(angle_deg(down, [0, 1, 0]) > 4.5, 'the stand leans');
  const frames = join(folder, 'frames');
  const template = join(folder, 'truth', 'body.template.yaml');
  let { child, address } = await serve(frames, template);
  let page = await open(address, name);
  const view = () => shotView(page);
  const sharp = () => document.querySelector('#sphere').dataset.sharp === 'true';
  const said = (text) => until(page, `document.querySelector('#message').textContent.includes(${JSON.stringify(text)})`);
  const level = async () => (await view()).level?.levelled_from_rig ?? UNTURNED;
  // Where the viewer looks, in the rig, and how px lie there.
  async function looking() {
    const [longitude, latitude, tall_deg] = (await page.getAttribute('#sphere', 'data-view')).split(' ').map(Number);
    const box = await page.locator('#sphere').boundingBox();
    const ahead = direction([longitude, latitude]);
    const right = [Math.cos(rad(longitude)), 0, -Math.sin(rad(longitude))];
    const focal = box.height / 2 / Math.tan(rad(tall_deg / 2));
    const turn = await level();
    return {
      tall_deg, latitude, ahead: times(transposed(turn), ahead), right: times(transposed(turn), right),
      at(d) {
        const seen = times(turn, d);
        const depth = dot(seen, ahead);
        return [box.x + box.width / 2 + (focal * dot(seen, right)) / depth,
          box.y + box.height / 2 + (focal * dot(seen, cross(ahead, right))) / depth];
      },
    };
  }
  const tilted = async () => {
    await page.click('#check');
    await until(page, () => document.querySelector('#check-says').textContent === 'worst first', 60000);
    return (await page.textContent('#words')).includes('leaned');
  };
  const errorOfDown = async () => angle_deg(times(await level(), down), [0, 1, 0]);
  assert.ok(await tilted(), 'the check says that it leans');

  // By mouse: an edge through what the sphere shows, its ends above and below.
  await until(page, sharp);
  const box = page.locator('#sphere-box');
  const shotOf = async (file) => {
    await box.screenshot({ path: join(scratch, file) });
    return join(scratch, file);
  };
  const asItStood = await shotOf('leaning.png');
  let seen = await looking();
  const across = unit(mixed(1, seen.ahead, -dot(seen.ahead, down), down));
  const ends = [-15, 15].map((height) => mixed(Math.cos(rad(height)), across, Math.sin(rad(height)), down));
  await page.click('#mark-edge');
  assert.equal(await page.getAttribute('#mark-edge', 'aria-pressed'), 'true');
  await page.mouse.click(...seen.at(ends[0]));
  await said('now the other end');
  await page.mouse.move(...seen.at(mixed(0.5, ends[0], 0.5, ends[1])));
  await picture(page, 'workbench-upright.jpg');
  await page.mouse.click(...seen.at(ends[1]));
  await said('levelled to one side');
  assert.equal(await page.getAttribute('#mark-edge', 'aria-pressed'), 'false');
  assert.ok((await page.textContent('#level')).includes('mark another'));
  // Its ends stand one over the other now, within the pixels that were clicked.
  seen = await looking();
  const [[upperX, upperY], [lowerX, lowerY]] = ends.map(seen.at);
  const leansBy_deg = deg(Math.atan2(Math.abs(upperX - lowerX), Math.abs(upperY - lowerY)));
  await until(page, sharp);
  assert.ok(await correlation(browser, asItStood, await shotOf('upright.png')) < 0.99, 'the sphere was turned');
  // The globe under the sharp look is turned by as much.
  await page.waitForTimeout(1000);
  const canvas = await page.locator('#sphere').boundingBox();
  await page.mouse.move(canvas.x + 400, canvas.y + 100);
  await page.mouse.down();
  await page.mouse.move(canvas.x + 370, canvas.y + 110, { steps: 3 });
  const coarse = await shotOf('leaning-coarse.png');
  await page.mouse.up();
  await until(page, sharp);
  const alike = await correlation(browser, coarse, await shotOf('leaning-sharp.png'));

  // By keyboard: a quarter turn on, finely zoomed, each end under the crosshair.
  await page.focus('#sphere');
  for (let i = 0; i < 18; ++i) await page.keyboard.press('ArrowRight');
  for (let i = 0; i < 8; ++i) await page.keyboard.press('+');
  const { ahead: begin } = await looking();
  const normal = unit(cross(begin, down));
  await page.keyboard.press('v');
  await page.keyboard.press('Enter');
  await said('now the other end');
  await page.keyboard.press('Escape'); // lets go of the end, not of the mode
  assert.equal(await page.getAttribute('#mark-edge', 'aria-pressed'), 'true');
  await page.keyboard.press('Enter');
  await page.keyboard.press('Enter');
  await said('at least 5 degrees away');
  for (let i = 0; i < 20; ++i) await page.keyboard.press('ArrowUp');
  seen = await looking();
  const step_deg = seen.tall_deg / 80;
  const off_deg = deg(Math.asin(dot(seen.ahead, normal) / dot(seen.right, normal) / Math.cos(rad(seen.latitude))));
  for (let i = 0; i < Math.abs(Math.round(off_deg / step_deg)); ++i) {
    await page.keyboard.press(off_deg > 0 ? 'Shift+ArrowLeft' : 'Shift+ArrowRight');
  }
  await page.keyboard.press('Enter');
  await said('levelled by 2 edges');
  assert.ok((await page.textContent('#level')).includes('The 2 edges lean'));
  const error_deg = await errorOfDown();
  console.log(`an edge marked by mouse leans ${leansBy_deg.toFixed(3)} degrees; two edges marked in the page: `
    + `level off by ${error_deg.toFixed(3)} degrees of ${angle_deg(down, [0, 1, 0]).toFixed(2)}; `
    + `correlation of the turned globe and the sharp look ${alike.toFixed(3)}`);
  assert.ok(leansBy_deg < 0.3);
  assert.ok(alike > 0.9);
  assert.ok(error_deg < 0.2);
  const marked = await view();
  assert.equal(marked.verticals.length, 2);

  // Undone, done again, removed from the list and undone; and a kill loses none of it.
  const count = (edges) => until(page, `document.querySelectorAll('#verticals button').length === ${edges}`);
  await page.keyboard.press('Control+z');
  await count(1);
  await page.keyboard.press('Control+y');
  await count(2);
  await page.click('#verticals button >> nth=1');
  await count(1);
  await page.keyboard.press('Control+z');
  await count(2);
  await page.close();
  child.kill('SIGKILL');
  await ended(child);
  ({ child, address } = await serve(frames, template));
  page = await open(address, name);
  const again = await view();
  assert.deepEqual(again.verticals, marked.verticals);
  assert.deepEqual(again.level, marked.level);
  assert.ok(again.unsaved);

  await page.click('#save');
  await said('saved');
  assert.ok(!await tilted(), 'the check does not say that it leans');
  const shot = join(frames, `${name}.shot.yaml`);
  assert.match(readFileSync(shot, 'utf8'), /version: 5[^]*verticals:\n {2}- ends_deg: .*\n {2}- ends_deg: .*\n$/);
  const panorama = join(scratch, 'upright.tif');
  const { by } = JSON.parse(fine('stitch', shot, '--width', '1600', '--seam', 'plain', '--out', panorama, '--json')).level;
  assert.equal(by, 'marked');
  const { tilt_deg } = JSON.parse(fine('finish', panorama, '--level', '--out', join(scratch, 'again.tif'), '--json')).level;
  console.log(`the panorama from the shot file leans ${tilt_deg.toFixed(3)} degrees by its own upright edges`);
  assert.ok(tilt_deg < 0.25);
  return { page, child, address };
}

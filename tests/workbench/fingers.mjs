// Two fingers on the ring and on the sphere, as a tablet tells them.
import assert from 'node:assert/strict';
import { shotView } from './shot_view.mjs';

/** `page` was opened with touch; nothing of the shot changes. */
export async function zoomByFingers(page) {
  const touch = await page.context().newCDPSession(page);
  const send = (type, points) => touch.send('Input.dispatchTouchEvent', {
    type, touchPoints: points.map(([x, y], id) => ({ x, y, id })),
  });
  const numbers = async (selector) => (await page.getAttribute(selector, 'data-view')).split(' ').map(Number);
  const rest = () => page.waitForTimeout(200);
  // Both fingers from `apart` px apart to `wider`, their middle from (x, y) to (x + aside, y).
  async function pinch(x, y, apart, wider, aside) {
    await send('touchStart', [[x - apart / 2, y]]);
    await send('touchStart', [[x - apart / 2, y], [x + apart / 2, y]]);
    for (let i = 1; i <= 8; ++i) {
      const half = (apart + ((wider - apart) * i) / 8) / 2;
      const middle = x + (aside * i) / 8;
      await send('touchMove', [[middle - half, y], [middle + half, y]]);
    }
    await send('touchEnd', [[x + aside - wider / 2, y]]);
    await send('touchEnd', []);
    await rest();
  }
  const edits = async () => {
    const { ties, strokes, verticals } = await shotView(page);
    return { ties, strokes, verticals };
  };
  const before = await edits();

  await page.locator('#ring').scrollIntoViewIfNeeded();
  let box = await page.locator('#ring').boundingBox();
  const [x, y] = [box.x + 300, box.y + 60];
  const [scale, left] = await numbers('#ring');
  await pinch(x, y, 80, 200, 40);
  const [wide, wideLeft] = await numbers('#ring');
  assert.ok(Math.abs(wide / scale - 2.5) < 0.02, `the ring is ${wide / scale} times as large`);
  const under = (at, s, l) => l + (at - box.x) / s;
  assert.ok(Math.abs(under(x, scale, left) - under(x + 40, wide, wideLeft)) < 2, 'what lay between the fingers stays there');
  await send('touchStart', [[x, y]]); // one finger still moves it
  await send('touchMove', [[x + 30, y]]);
  await send('touchMove', [[x + 60, y]]);
  await send('touchEnd', []);
  await rest();
  assert.ok(Math.abs((await numbers('#ring'))[1] - (wideLeft - 60 / wide)) < 2);
  await pinch(x, y, 200, 40, 0);
  assert.ok(Math.abs((await numbers('#ring'))[0] - scale) < 1e-9, 'no smaller than the whole ring');

  await page.locator('#sphere').scrollIntoViewIfNeeded();
  box = await page.locator('#sphere').boundingBox();
  const [longitude, latitude, tall_deg] = await numbers('#sphere');
  const middle = [box.x + box.width / 2, box.y + box.height / 2];
  await pinch(...middle, 80, 160, 0);
  const [sameLongitude, sameLatitude, half_deg] = await numbers('#sphere');
  const height = (deg) => Math.tan((deg * Math.PI) / 360);
  // The angle from top to bottom is divided, as by the wheel.
  assert.ok(Math.abs(half_deg - tall_deg / 2) < 0.02 * tall_deg, `${tall_deg} to ${half_deg} degrees`);
  assert.ok(Math.hypot(sameLongitude - longitude, sameLatitude - latitude) < 0.2);
  await pinch(...middle, 160, 160, 50);
  const focal = box.height / 2 / height(half_deg);
  const turned_deg = ((50 / focal) * 180) / Math.PI / Math.cos((latitude * Math.PI) / 180);
  assert.ok(Math.abs(longitude - (await numbers('#sphere'))[0] - turned_deg) < 0.15 * turned_deg);
  assert.deepEqual(await edits(), before, 'no finger set or drew anything');
}

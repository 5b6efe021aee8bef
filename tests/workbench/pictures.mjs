// What the page's test measures on pictures (PNG), read by the browser. How far a panorama lies from the true
// one beside the seam: patches on the far side of the ring, which lens 1 shows, are looked for in the truth
// by the smallest sum of squared differences, to a fraction of a pixel.
import { readFileSync } from 'node:fs';

const HALF = 7; // of a patch, px
const REACH = 9; // of the search, px
const BEYOND_DEG = 2; // of the ring, on lens 1's side
const LEAST_CONTRAST = 12; // standard deviation of a patch's codes, of 255

/** Grey codes, 0…255, row by row. */
async function greyOf(page, file) {
  const url = `data:image/png;base64,${readFileSync(file).toString('base64')}`;
  const { width, height, codes } = await page.evaluate(async (source) => {
    const image = new Image();
    image.src = source;
    await image.decode();
    const canvas = new OffscreenCanvas(image.width, image.height);
    const context = canvas.getContext('2d');
    context.drawImage(image, 0, 0);
    const { data } = context.getImageData(0, 0, image.width, image.height);
    let text = '';
    for (let i = 0; i < data.length; i += 4) {
      text += String.fromCharCode(Math.round(0.3 * data[i] + 0.6 * data[i + 1] + 0.1 * data[i + 2]));
    }
    return { width: image.width, height: image.height, codes: btoa(text) };
  }, url);
  return { width, height, codes: Buffer.from(codes, 'base64') };
}

const codeAt = (picture, x, y) =>
  picture.codes[y * picture.width + (((x % picture.width) + picture.width) % picture.width)];

function contrast(picture, x, y) {
  let sum = 0;
  let squares = 0;
  const count = (2 * HALF + 1) ** 2;
  for (let v = -HALF; v <= HALF; ++v) {
    for (let u = -HALF; u <= HALF; ++u) {
      const code = codeAt(picture, x + u, y + v);
      sum += code;
      squares += code * code;
    }
  }
  return Math.sqrt(Math.max(0, squares / count - (sum / count) ** 2));
}

function difference(one, other, x, y, dx, dy) {
  let sum = 0;
  for (let v = -HALF; v <= HALF; ++v) {
    for (let u = -HALF; u <= HALF; ++u) {
      sum += (codeAt(one, x + u, y + v) - codeAt(other, x + u + dx, y + v + dy)) ** 2;
    }
  }
  return sum;
}

const vertex = (before, at, after) => {
  const bend = before - 2 * at + after;
  return bend > 0 ? (0.5 * (before - after)) / bend : 0;
};

/** Where `other` shows the patch of `one`, px away; null at the search's border. */
function shift(one, other, x, y) {
  let best = { sum: Infinity, dx: 0, dy: 0 };
  for (let dy = -REACH; dy <= REACH; ++dy) {
    for (let dx = -REACH; dx <= REACH; ++dx) {
      const sum = difference(one, other, x, y, dx, dy);
      if (sum < best.sum) best = { sum, dx, dy };
    }
  }
  if (Math.max(Math.abs(best.dx), Math.abs(best.dy)) === REACH) return null;
  const at = (dx, dy) => difference(one, other, x, y, best.dx + dx, best.dy + dy);
  return [best.dx + vertex(at(-1, 0), best.sum, at(1, 0)), best.dy + vertex(at(0, -1), best.sum, at(0, 1))];
}

function median(values) {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)];
}

/**
 * Medians over both sides of the ring, within 55° of the horizon: `px` in all, `sideways_px` along the
 * ring, up and down in the panorama there, which no depth explains.
 */
export async function misfitBesideSeam(browser, panoramaFile, truthFile) {
  const page = await browser.newPage();
  const panorama = await greyOf(page, panoramaFile);
  const truth = await greyOf(page, truthFile);
  await page.close();
  if (panorama.width !== truth.width || panorama.height !== truth.height) {
    throw new Error('the panorama and the truth are not of one size');
  }
  const perDegree = panorama.width / 360;
  const found = [];
  for (const longitude of [90 + BEYOND_DEG, -90 - BEYOND_DEG]) {
    const x = Math.round((longitude + 180) * perDegree);
    for (let latitude = -55; latitude <= 55; latitude += 1) {
      const y = Math.round((90 - latitude) * perDegree);
      if (contrast(panorama, x, y) < LEAST_CONTRAST) continue;
      const moved = shift(panorama, truth, x, y);
      if (moved) found.push(moved);
    }
  }
  return {
    px: median(found.map(([dx, dy]) => Math.hypot(dx, dy))),
    sideways_px: median(found.map(([, dy]) => Math.abs(dy))),
    patches: found.length,
  };
}

/** Of the grey codes of two pictures of one size. */
export async function correlation(browser, oneFile, otherFile) {
  const page = await browser.newPage();
  const one = (await greyOf(page, oneFile)).codes;
  const other = (await greyOf(page, otherFile)).codes;
  await page.close();
  const mean = (codes) => codes.reduce((sum, code) => sum + code, 0) / codes.length;
  const [a, b] = [mean(one), mean(other)];
  let [ab, aa, bb] = [0, 0, 0];
  one.forEach((code, i) => {
    ab += (code - a) * (other[i] - b);
    aa += (code - a) ** 2;
    bb += (other[i] - b) ** 2;
  });
  return ab / Math.sqrt(aa * bb);
}

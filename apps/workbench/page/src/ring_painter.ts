// Draws the ring: strips, links, arrows, strokes, seam; below, coverage, expected error and depth.
import type { Place, SeamStatus, ShotView, TieView } from './api';
import { residualColour, viridis } from './colours';
import { FOOT, type Viewport } from './viewport';

export interface Scene {
  view: ShotView;
  pair: number;
  port: Viewport;
  strips: (HTMLImageElement | null)[];
  look: string;
  blinkRow: number;
  exaggerate: number;
  chosen: number | null;
  chosenRow: number;
  cross: { row: number; at: Place } | null;
  moving: { id: number; row: number; at: Place } | null;
  drawing: Place[];
  seam: SeamStatus['result'];
}

const SECTORS = 36;

export function left_px(tie: TieView): number {
  return tie.after ? Math.hypot(tie.after.parallax_px, tie.after.sideways_px) : 0;
}

export function paint(c: CanvasRenderingContext2D, scene: Scene): void {
  const { port } = scene;
  c.clearRect(0, 0, port.width, port.height);
  c.save();
  c.beginPath();
  c.rect(0, 0, port.width, port.height - FOOT);
  c.clip();
  paintStrips(c, scene);
  paintStrokes(c, scene);
  paintSeam(c, scene);
  for (const tie of tiesOfPair(scene)) paintTie(c, scene, tie);
  if (scene.cross) paintCross(c, port.screen(scene.cross.row, scene.cross.at));
  c.restore();
  paintFoot(c, scene);
}

export function tiesOfPair(scene: Scene): TieView[] {
  return scene.view.ties.filter((tie) => tie.pair === scene.pair && tie.at_a && tie.at_b);
}

export function endOf(scene: Scene, tie: TieView, row: number): Place {
  const moving = scene.moving;
  if (moving && moving.id === tie.id && moving.row === row) return moving.at;
  return (row === 0 ? tie.at_a : tie.at_b) ?? [0, 0];
}

function paintStrips(c: CanvasRenderingContext2D, scene: Scene): void {
  const rows = scene.look === 'blink' ? [scene.blinkRow] : [0, 1];
  for (const row of rows) {
    const image = scene.strips[row];
    if (!image) continue;
    c.globalCompositeOperation = scene.look === 'difference' && row === 1 ? 'difference' : 'source-over';
    paintImage(c, scene.port, image, scene.port.stripTop(row));
  }
  c.globalCompositeOperation = 'source-over';
  if (scene.look !== 'strips') return;
  const pair = scene.port.pair;
  [pair.lens_a, pair.lens_b].forEach((lens, row) =>
    label(c, `lens ${lens}`, 8, scene.port.stripTop(row) + 18));
}

function paintImage(c: CanvasRenderingContext2D, port: Viewport, image: HTMLImageElement, top: number): void {
  const turn = port.pair.width_px * port.scale;
  c.imageSmoothingEnabled = port.scale < 3;
  const first = -port.left * port.scale;
  for (let x = first; x < port.width; x += turn) {
    c.drawImage(image, x, top, turn, port.stripHeight());
    if (!port.pair.closed) break;
  }
}

function label(c: CanvasRenderingContext2D, text: string, x: number, y: number): void {
  c.font = '13px system-ui, sans-serif';
  const width = c.measureText(text).width;
  c.fillStyle = 'rgba(0,0,0,.7)';
  c.fillRect(x - 4, y - 14, width + 8, 19);
  c.fillStyle = '#fff';
  c.fillText(text, x, y);
}

// A line that shows on light and dark pictures alike.
function cased(c: CanvasRenderingContext2D, colour: string, width: number, trace: () => void): void {
  for (const [style, w] of [['rgba(0,0,0,.8)', width + 4], ['#ffffff', width + 2], [colour, width]] as const) {
    c.strokeStyle = style;
    c.lineWidth = w;
    c.beginPath();
    trace();
    c.stroke();
  }
}

function paintTie(c: CanvasRenderingContext2D, scene: Scene, tie: TieView): void {
  const chosen = tie.id === scene.chosen;
  const a = scene.port.screen(0, endOf(scene, tie, 0));
  const b = scene.port.screen(1, endOf(scene, tie, 1));
  const colour = tie.on ? residualColour(left_px(tie)) : '#b8b2a6';
  c.setLineDash(tie.on ? [] : [4, 4]);
  if (Math.abs(a[0] - b[0]) < scene.port.width / 2) {
    cased(c, colour, chosen ? 3.5 : 2, () => {
      c.moveTo(...a);
      c.lineTo(...b);
    });
  }
  c.setLineDash([]);
  [a, b].forEach((end, row) => {
    cased(c, colour, chosen ? 3 : 2, () => c.arc(end[0], end[1], 6, 0, 2 * Math.PI));
    if (chosen && row === scene.chosenRow) {
      cased(c, '#fff', 1.5, () => c.rect(end[0] - 11, end[1] - 11, 22, 22));
    }
  });
  if (chosen || tie.suspect) label(c, tie.suspect ? `tie ${tie.id}: look again` : `tie ${tie.id}`, a[0] + 12, a[1] - 8);
  if (tie.after && tie.before && tie.on) paintArrow(c, scene, a, tie);
}

// Before the touch pale, after it in the residual's colour: up and down is parallax, left and right is sideways.
function paintArrow(c: CanvasRenderingContext2D, scene: Scene, from: Place, tie: TieView): void {
  for (const [fit, colour, width] of [[tie.before, '#d9d4c8', 1], [tie.after, '#ffffff', 2]] as const) {
    if (!fit) continue;
    const size = scene.exaggerate * Math.min(1, scene.port.scale);
    const dx = fit.sideways_px * size;
    const dy = fit.parallax_px * size;
    if (Math.hypot(dx, dy) < 2) continue;
    const turn = Math.atan2(dy, dx);
    cased(c, colour, width, () => {
      c.moveTo(...from);
      c.lineTo(from[0] + dx, from[1] + dy);
      for (const side of [-0.5, 0.5]) {
        c.moveTo(from[0] + dx, from[1] + dy);
        c.lineTo(from[0] + dx - 7 * Math.cos(turn + side), from[1] + dy - 7 * Math.sin(turn + side));
      }
    });
  }
}

function paintLine(c: CanvasRenderingContext2D, port: Viewport, row: number, line: Place[]): void {
  let last = Infinity;
  for (const at of line) {
    const [x, y] = port.screen(row, at);
    if (Math.abs(x - last) > port.width / 2) c.moveTo(x, y);
    else c.lineTo(x, y);
    last = x;
  }
}

function paintStrokes(c: CanvasRenderingContext2D, scene: Scene): void {
  const { port } = scene;
  const rows = port.stacked ? [0, 1] : [0];
  const strokes = scene.view.strokes.map((stroke) => ({
    line: (stroke.on_pairs[scene.pair] ?? []).filter((at): at is Place => at !== null),
    width: 2 * stroke.reach_rad * port.pair.px_per_rad * port.scale,
    colour: stroke.wish === 'away' ? 'rgba(255,170,60,.45)' : 'rgba(120,190,255,.45)',
  }));
  strokes.push({ line: scene.drawing, width: 2 * reach_px(port) * port.scale, colour: 'rgba(255,255,255,.4)' });
  c.lineCap = 'round';
  c.lineJoin = 'round';
  for (const stroke of strokes) {
    for (const row of rows) {
      c.strokeStyle = stroke.colour;
      c.lineWidth = stroke.width;
      c.beginPath();
      paintLine(c, port, row, stroke.line.length === 1 ? [...stroke.line, ...stroke.line] : stroke.line);
      c.stroke();
    }
  }
}

/** The brush's reach: one degree. */
export const reach_px = (port: Viewport): number => (port.pair.px_per_rad * Math.PI) / 180;

function paintSeam(c: CanvasRenderingContext2D, scene: Scene): void {
  const found = scene.seam?.pairs?.find((one) => one.pair === scene.pair);
  if (!found) return;
  const line = found.line.map(([x, y]): Place => [x, y]);
  for (const row of scene.port.stacked ? [0, 1] : [0]) {
    cased(c, '#ffffff', 1.5, () => paintLine(c, scene.port, row, line));
  }
}

function paintCross(c: CanvasRenderingContext2D, [x, y]: Place): void {
  cased(c, '#fff', 1.5, () => {
    c.moveTo(x - 12, y);
    c.lineTo(x + 12, y);
    c.moveTo(x, y - 12);
    c.lineTo(x, y + 12);
  });
}

// Sectors that hold ties, the error to expect around the ring, and depth where it is known.
function paintFoot(c: CanvasRenderingContext2D, scene: Scene): void {
  const { port } = scene;
  const top = port.height - FOOT;
  c.fillStyle = '#26241f';
  c.fillRect(0, top, port.width, FOOT);
  const sector = port.pair.width_px / SECTORS;
  for (let i = 0; i < SECTORS; ++i) {
    const held = tiesOfPair(scene).some((tie) => tie.on && Math.floor((tie.at_a?.[0] ?? -1) / sector) === i);
    c.fillStyle = held ? '#e8e2d4' : '#57524a';
    c.fillRect(port.screenX(i * sector) + 1, top + 4, sector * port.scale - 2, 6);
  }
  for (const place of scene.view.touch.seam) {
    if (place.pair !== scene.pair) continue;
    const x = port.screenX(place.x);
    const height = Math.min(24, place.after_px * 8);
    c.fillStyle = residualColour(place.after_px);
    c.fillRect(x - 2, top + 40 - height, 5, Math.max(2, height));
  }
  const found = scene.seam?.pairs?.find((one) => one.pair === scene.pair);
  for (const [x, , inverse] of found?.line ?? []) {
    const height = Math.min(30, inverse * 20);
    c.fillStyle = viridis(Math.min(1, inverse / 1.5));
    c.fillRect(port.screenX(x), top + 80 - height, Math.max(2, (port.pair.width_px / 720) * port.scale), Math.max(1, height));
  }
  c.fillStyle = '#e8e2d4';
  c.font = '11px system-ui, sans-serif';
  c.fillText('ties held above · expected error, 8 px = 1 px · depth under the seam, higher is nearer', 6, top + 54);
}

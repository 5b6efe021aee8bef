// Wires the ring, the lists and the server together. Calls go one after the other, in order.
import { api, picture, type Place, type SeamStatus, type ShotView, type TieView } from './api';
import { viridis } from './colours';
import { element, say, showChosen, showFigures, showStrokes, showTies, showVerticals, showWords } from './panel';
import { Pinch } from './pinch';
import { endOf, paint, reach_px, tiesOfPair, type Scene } from './ring_painter';
import { ShotList } from './shots';
import { Sphere } from './sphere';
import { Viewport } from './viewport';

const canvas = element<HTMLCanvasElement>('ring');
const context = canvas.getContext('2d') as CanvasRenderingContext2D;
const picker = (id: string): HTMLSelectElement => element<HTMLSelectElement>(id);

const sphere = new Sphere(markEdge);
const shots = new ShotList((shot) => void open(shot));
let scene: Scene | null = null;
let version = 0; // of the strips: the touched ones change with every edit
let loads = 0; // of strips
const shownLoads = [0, 0];
let queue: Promise<unknown> = Promise.resolve();
let waiting = false;
let crossRests = 0;

function redraw(): void {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    if (!scene) return;
    paint(context, scene);
    canvas.dataset.view = [scene.port.scale, scene.port.left].join(' ');
  });
}

function enqueue(work: () => Promise<void>): Promise<void> {
  const next = queue.then(work).catch((fault: Error) => say(fault.message, true));
  queue = next;
  return next;
}

/** A change of the shot; what comes back is shown. */
function change(call: (shot: number) => Promise<ShotView>, said = ''): Promise<void> {
  return enqueue(async () => {
    if (!scene) return;
    const view = await call(scene.view.shot);
    show(view);
    say(said);
  });
}

function chosenTie(): TieView | undefined {
  return scene?.view.ties.find((tie) => tie.id === scene?.chosen);
}

function show(view: ShotView): void {
  if (!scene) return;
  scene.view = view;
  scene.moving = null;
  if (!chosenTie()) scene.chosen = null;
  showFigures(view);
  showTies(view, scene.chosen, choose);
  showStrokes(view, (id) => void change((shot) => api.edit(shot, { kind: 'remove-stroke', id })));
  showVerticals(view, (id) => void change((shot) => api.edit(shot, { kind: 'remove-vertical', id })));
  showWords(view, shots.findings(view.shot));
  showChosen(chosenTie());
  sphere.show(view);
  if (picker('through').value === 'touched') loadStrips();
  redraw();
}

function choose(id: number | null): void {
  if (!scene) return;
  scene.chosen = id;
  const tie = chosenTie();
  if (tie?.pair !== null && tie?.pair !== undefined && tie.pair !== scene.pair) selectPair(tie.pair);
  showTies(scene.view, id, choose);
  showChosen(tie);
  const seen = tie?.on_sphere.find((place) => place !== null);
  if (seen) sphere.lookAt(seen);
  redraw();
}

function loadStrips(): void {
  if (!scene) return;
  const current = scene;
  const pair = current.view.pairs[current.pair];
  if (!pair) return;
  const through = picker('through').value;
  if (through === 'touched') ++version;
  const load = ++loads;
  [pair.lens_a, pair.lens_b].forEach((lens, row) => {
    const path = api.strip(current.view.shot, current.pair, lens, through, through === 'touched' ? version : 0);
    picture(path).then((image) => {
      if (load < (shownLoads[row] ?? 0)) return; // a later one was quicker
      shownLoads[row] = load;
      current.strips[row] = image;
      redraw();
    }).catch((fault: Error) => say(fault.message, true));
  });
}

function selectPair(pair: number): void {
  const found = scene?.view.pairs[pair];
  if (!scene || !found) return;
  scene.pair = pair;
  scene.port = new Viewport(found);
  scene.strips = [null, null];
  picker('pair').value = String(pair);
  const tool = picker('tool');
  tool.replaceChildren(new Option('sets ties', 'tie'), new Option('keeps the seam away', 'away'),
    ...[found.lens_a, found.lens_b].map((lens) => new Option(`takes this from lens ${lens}`, `lens ${lens}`)));
  layout();
  scene.port.fit();
  scene.cross = { row: 0, at: [found.width_px / 2, found.height_px / 2] };
  loadStrips();
}

function layout(): void {
  if (!scene) return;
  const box = canvas.getBoundingClientRect();
  const ratio = window.devicePixelRatio || 1;
  canvas.width = Math.round(box.width * ratio);
  canvas.height = Math.round(box.height * ratio);
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  scene.port.stacked = scene.look === 'strips';
  scene.port.resize(box.width, box.height);
  redraw();
}

function open(shot: number): Promise<void> {
  return enqueue(async () => {
    say('opening the shot');
    const view = await api.view(shot);
    const pair = view.pairs[0];
    if (!pair) throw new Error('no two lenses meet');
    scene = {
      view, pair: 0, port: new Viewport(pair), strips: [null, null], look: picker('look').value,
      blinkRow: 0, exaggerate: Number(element<HTMLInputElement>('exaggerate').value), chosen: null,
      chosenRow: 0, cross: null, moving: null, drawing: [], seam: null,
    };
    picker('pair').replaceChildren(...view.pairs.map((p, i) => new Option(`lenses ${p.lens_a} and ${p.lens_b}`, String(i))));
    element('pair-label').hidden = view.pairs.length === 1;
    selectPair(0);
    show(view);
    lookAtCross();
    await shots.refresh(shot);
    showWords(view, shots.findings(shot));
    say(view.note || (view.recovered > 0 ? `${view.recovered} edits were brought back from the journal` : ''));
  });
}

document.addEventListener('checked', () => { if (scene) showWords(scene.view, shots.findings(scene.view.shot)); });

const undo = (): void => void change((shot) => api.step(shot, 'undo'));
const redo = (): void => void change((shot) => api.step(shot, 'redo'));
const save = (): void => void change((shot) => api.step(shot, 'save'), 'saved').then(() => enqueue(async () => {
  await shots.refresh();
  await shots.again();
}));

function setTie(row: number, at: Place): void {
  const pair = scene?.view.pairs[scene.pair];
  if (!scene || !pair) return;
  const current = scene;
  void enqueue(async () => {
    say('looking for the same place in the other lens');
    const view = await api.match(current.view.shot, current.pair, row === 0 ? pair.lens_a : pair.lens_b, at);
    current.chosen = view.added?.id ?? null;
    current.chosenRow = row;
    show(view);
    const seen = chosenTie()?.on_sphere[0];
    if (seen) sphere.lookAt(seen);
    say(view.added?.unsure ? 'other places look nearly the same: check both ends'
      : view.added?.refined ? 'found to a fraction of a pixel' : 'found, but not to a fraction of a pixel: check both ends',
      view.added?.unsure ?? false);
  });
}

function markEdge(ends: [Place, Place]): void {
  const ends_rad = ends.map((end) => end.map((deg) => (deg * Math.PI) / 180));
  void enqueue(async () => {
    if (!scene) return;
    const view = await api.edit(scene.view.shot, { kind: 'add-vertical', vertical: { ends_rad } });
    show(view);
    const edges = view.verticals.length;
    say(edges === 1 ? 'levelled to one side: mark another edge' : `levelled by ${edges} edges`);
  });
}

function moveEnd(tie: TieView, row: number, at: Place): void {
  const pair = scene?.view.pairs[scene.pair];
  if (!scene || !pair) return;
  scene.moving = { id: tie.id, row, at };
  redraw();
  void change((shot) => api.move(shot, tie.id, row === 0 ? pair.lens_a : pair.lens_b, at));
}

// --- pointer ---------------------------------------------------------------------------------------

type Drag = { x: number; y: number; moved: boolean; end: { tie: TieView; row: number } | null; row: number };
let drag: Drag | null = null;

function endAt(x: number, y: number): { tie: TieView; row: number } | null {
  if (!scene) return null;
  for (const tie of tiesOfPair(scene)) {
    for (const row of [0, 1]) {
      const [u, v] = scene.port.screen(row, endOf(scene, tie, row));
      if (Math.hypot(u - x, v - y) < 12) return { tie, row };
    }
  }
  return null;
}

function letGo(): void {
  drag = null;
  if (scene) [scene.drawing, scene.moving] = [[], null];
  redraw();
}

const pinch = new Pinch(canvas, letGo, (factor, from, to) => {
  scene?.port.zoom(factor, ...from);
  scene?.port.pan(to[0] - from[0], to[1] - from[1]);
  redraw();
});

canvas.addEventListener('pointerdown', (event) => {
  if (!scene) return;
  canvas.setPointerCapture(event.pointerId);
  if (pinch.on) return;
  const { offsetX: x, offsetY: y } = event;
  const drawing = picker('tool').value !== 'tie';
  const under = scene.port.ribbon(x, y);
  drag = { x, y, moved: false, end: drawing ? null : endAt(x, y), row: under?.row ?? 0 };
  if (drawing && under) scene.drawing = [under.at];
});

canvas.addEventListener('pointermove', (event) => {
  if (!scene || !drag) return;
  const { offsetX: x, offsetY: y } = event;
  if (!drag.moved && Math.hypot(x - drag.x, y - drag.y) < 4) return;
  drag.moved = true;
  const under = scene.port.ribbon(x, y);
  if (scene.drawing.length > 0) {
    if (under && scene.drawing.length < 1500) scene.drawing.push(under.at);
  } else if (drag.end) {
    if (under && under.row === drag.end.row) scene.moving = { id: drag.end.tie.id, row: under.row, at: under.at };
  } else {
    scene.port.pan(x - drag.x, y - drag.y);
    drag.x = x;
    drag.y = y;
  }
  redraw();
});

canvas.addEventListener('pointerup', (event) => {
  if (!scene || !drag) return;
  const done = drag;
  drag = null;
  const stroke = scene.drawing;
  scene.drawing = [];
  if (stroke.length > 0) {
    const [wish = 'away', lens = '0'] = picker('tool').value.split(' ');
    const reach = reach_px(scene.port);
    const pair = scene.pair;
    void change((shot) => api.draw(shot, pair, wish, Number(lens), reach, stroke));
  } else if (done.end) {
    choose(done.end.tie.id);
    scene.chosenRow = done.end.row;
    if (scene.moving) moveEnd(done.end.tie, scene.moving.row, scene.moving.at);
    redraw();
  } else if (!done.moved && scene.look === 'strips') {
    const under = scene.port.ribbon(event.offsetX, event.offsetY);
    if (under) setTie(under.row, under.at);
  }
});

canvas.addEventListener('pointercancel', letGo);

canvas.addEventListener('wheel', (event) => {
  if (!scene) return;
  event.preventDefault();
  if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) scene.port.pan(-(event.deltaX || event.deltaY), 0);
  else scene.port.zoom(Math.exp(-event.deltaY / 400), event.offsetX, event.offsetY);
  redraw();
}, { passive: false });

// --- keys ------------------------------------------------------------------------------------------

const ARROWS: Record<string, Place> = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

function nudge(by: Place, fine: number): void {
  if (!scene) return;
  const tie = chosenTie();
  if (tie && tie.pair === scene.pair) {
    const at = endOf(scene, tie, scene.chosenRow);
    moveEnd(tie, scene.chosenRow, [at[0] + by[0] * fine, at[1] + by[1] * fine]);
  } else if (scene.cross) {
    const step = (fine < 1 ? 8 : 1) / scene.port.scale;
    const { pair } = scene.port;
    const x = scene.cross.at[0] + by[0] * step;
    const y = scene.cross.at[1] + by[1] * step;
    scene.cross.at = [
      pair.closed ? (x + pair.width_px) % pair.width_px : Math.min(Math.max(0, x), pair.width_px - 1),
      Math.min(Math.max(0, y), pair.height_px - 1)];
    window.clearTimeout(crossRests);
    crossRests = window.setTimeout(lookAtCross, 150);
    redraw();
  }
}

function chooseNext(by: number): void {
  if (!scene || scene.view.ties.length === 0) return;
  const ids = scene.view.ties.map((tie) => tie.id);
  const now = scene.chosen === null ? (by > 0 ? -1 : 0) : ids.indexOf(scene.chosen);
  choose(ids[(now + by + ids.length) % ids.length] ?? null);
}

function switchOver(tie: TieView): void {
  void change((shot) => api.edit(shot, { kind: 'switch-tie', id: tie.id, on: !tie.on }));
}
function removeTie(tie: TieView): void {
  void change((shot) => api.edit(shot, { kind: 'remove-tie', id: tie.id }));
}

function changeLook(look: string): void {
  picker('look').value = look;
  if (!scene) return;
  scene.look = look;
  layout();
}

canvas.addEventListener('keydown', (event) => {
  if (!scene || event.ctrlKey || event.metaKey || event.altKey) return;
  const tie = chosenTie();
  const arrow = ARROWS[event.key];
  const middle: Place = [scene.port.width / 2, scene.port.height / 2];
  if (arrow) nudge(arrow, event.shiftKey ? 1 : 0.1);
  else if (event.key === 'Enter' && scene.cross) setTie(scene.cross.row, scene.cross.at);
  else if (event.key === 'l' || event.key === 'L') {
    if (tie) scene.chosenRow = 1 - scene.chosenRow;
    else if (scene.cross) scene.cross.row = 1 - scene.cross.row;
  } else if (event.key === '[') chooseNext(-1);
  else if (event.key === ']') chooseNext(1);
  else if (event.key === 'Escape') choose(null);
  else if (event.key === ' ' && tie) switchOver(tie);
  else if (event.key === 'Delete' && tie) removeTie(tie);
  else if (event.key === '+' || event.key === '=') scene.port.zoom(1.25, ...middle);
  else if (event.key === '-') scene.port.zoom(0.8, ...middle);
  else if (event.key === 'Home') scene.port.fit();
  else return;
  event.preventDefault();
  redraw();
});

document.addEventListener('keydown', (event) => {
  const key = event.key.toLowerCase();
  if ((event.ctrlKey || event.metaKey) && ['z', 'y', 's'].includes(key)) {
    event.preventDefault();
    if (key === 's') save();
    else if (key === 'y' || event.shiftKey) redo();
    else undo();
  } else if ((event.key === 'PageDown' || event.key === 'PageUp') && scene) {
    const beside = shots.beside(scene.view.shot, event.key === 'PageDown' ? 1 : -1);
    if (beside === null) return;
    event.preventDefault();
    void open(beside);
  }
});

// --- controls --------------------------------------------------------------------------------------

element('undo').addEventListener('click', undo);
element('redo').addEventListener('click', redo);
element('save').addEventListener('click', save);
element('switch').addEventListener('click', () => { const tie = chosenTie(); if (tie) switchOver(tie); });
element('remove').addEventListener('click', () => { const tie = chosenTie(); if (tie) removeTie(tie); });
picker('pair').addEventListener('change', () => selectPair(Number(picker('pair').value)));
picker('look').addEventListener('change', () => changeLook(picker('look').value));
picker('through').addEventListener('change', loadStrips);
const zoomBy = (factor: number): void => { scene?.port.zoom(factor, scene.port.width / 2, scene.port.height / 2); redraw(); };
element('zoom-in').addEventListener('click', () => zoomBy(1.4));
element('zoom-out').addEventListener('click', () => zoomBy(1 / 1.4));
element('fit').addEventListener('click', () => { scene?.port.fit(); redraw(); });

const exaggerate = element<HTMLInputElement>('exaggerate');
exaggerate.addEventListener('input', () => {
  element('exaggerate-shown').textContent = exaggerate.value;
  if (scene) scene.exaggerate = Number(exaggerate.value);
  redraw();
});

const sigma = element<HTMLInputElement>('sigma');
const sigmaOf = (): number => Number((10 ** Number(sigma.value)).toFixed(3));
sigma.addEventListener('input', () => { element('sigma-shown').textContent = sigmaOf().toFixed(2); });
sigma.addEventListener('change', () => {
  const tie = chosenTie();
  if (tie) void change((shot) => api.edit(shot, { kind: 'change-tie', id: tie.id, tie: { ...tie.tie, sigma_px: sigmaOf() } }));
});
for (const input of document.querySelectorAll<HTMLInputElement>('input[name="range"]')) {
  input.addEventListener('change', () => {
    const tie = chosenTie();
    if (tie) void change((shot) => api.edit(shot, { kind: 'change-tie', id: tie.id, tie: { ...tie.tie, range: input.value } }));
  });
}

element('find-seam').addEventListener('click', () => void enqueue(async () => {
  if (!scene) return;
  const current = scene;
  const begun = await api.findSeam(current.view.shot);
  void watchSeam(current, begun.job);
}));

/** The sphere shows the place under the cross. */
function lookAtCross(): void {
  void enqueue(async () => {
    if (!scene?.cross) return;
    const { on_sphere } = await api.place(scene.view.shot, scene.pair, scene.cross.at);
    sphere.lookAt(on_sphere);
  });
}

async function watchSeam(current: Scene, job: number): Promise<void> {
  for (;;) {
    const status: SeamStatus = await api.seam();
    if (status.job !== job) return;
    if (status.state === 'working') {
      say(`${status.stage || 'finding depth'}: ${Math.round(100 * status.fraction)} %`);
      await new Promise((resolve) => setTimeout(resolve, 250));
      continue;
    }
    current.seam = status.result;
    say(status.state === 'done' ? 'the seam as it runs now' : status.result?.error ?? 'stopped', status.state === 'failed');
    redraw();
    return;
  }
}

const calm = window.matchMedia('(prefers-reduced-motion: reduce)');
setInterval(() => {
  if (!scene || scene.look !== 'blink' || calm.matches) return;
  scene.blinkRow = 1 - scene.blinkRow;
  redraw();
}, 500);

const legend = element<HTMLCanvasElement>('scale').getContext('2d');
for (let x = 0; legend && x < 160; ++x) {
  legend.fillStyle = viridis(x / 159);
  legend.fillRect(x, 0, 1, 10);
}
new ResizeObserver(layout).observe(canvas);
void enqueue(() => shots.refresh()).then(() => open(shots.first()));

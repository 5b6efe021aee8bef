// The finished place as a viewer will see it, before and after the touch. The server draws a sharp look
// for where the viewer rests; while it turns, the globe shows the whole sphere coarsely (by the template:
// a touch is less than its pixels), or, without WebGL, the last look stays until the next one is there.
import { api, picture, type Place, type ShotView } from './api';
import { residualColour } from './colours';
import { along, UNTURNED } from './directions';
import { EdgeMarker } from './edge_marker';
import { Globe } from './globe';
import { element } from './panel';
import { Pinch } from './pinch';
import { left_px } from './ring_painter';
import { SphereView } from './sphere_view';

type Through = 'template' | 'touched';
type Look = { image: HTMLImageElement; view: string; edits: number };

const REST_MS = 140;
const MOST_LOOK_PX = 280_000; // of a look; larger ones are drawn up from it

export class Sphere {
  readonly view = new SphereView();
  private readonly canvas = element<HTMLCanvasElement>('sphere');
  private readonly context = this.canvas.getContext('2d') as CanvasRenderingContext2D;
  private readonly globe = Globe.on(element<HTMLCanvasElement>('globe'));
  private shot: ShotView | null = null;
  private edits = 0; // the touched rig changes with every one
  private place: Place | null = null;
  private looks: Record<Through, Look | null> = { template: null, touched: null };
  private loading = false;
  private resting = 0;
  private drag: { x: number; y: number; moved: boolean } | null = null;
  private readonly marker: EdgeMarker;

  /** `mark` is told of each upright edge that was marked. */
  constructor(mark: (ends: [Place, Place]) => void) {
    this.marker = new EdgeMarker(mark, () => {
      this.canvas.classList.toggle('marking', this.marker.on);
      this.paint();
    });
    new ResizeObserver(() => this.layout()).observe(this.canvas);
    const pinch = new Pinch(this.canvas, () => { this.drag = null; }, (factor, from, to) => this.pinched(factor, from, to));
    this.canvas.addEventListener('pointerdown', (event) => {
      this.canvas.setPointerCapture(event.pointerId);
      if (pinch.on) return;
      this.drag = { x: event.offsetX, y: event.offsetY, moved: false };
    });
    this.canvas.addEventListener('pointermove', (event) => { if (!pinch.on) this.pull(event); });
    this.canvas.addEventListener('pointerup', (event) => {
      if (this.drag && !this.drag.moved) this.marker.put(this.view.place(event.offsetX, event.offsetY));
      this.drag = null;
    });
    this.canvas.addEventListener('pointercancel', () => { this.drag = null; });
    this.canvas.addEventListener('wheel', (event) => {
      event.preventDefault();
      this.view.zoom(Math.exp(-event.deltaY / 400));
      this.moved();
    }, { passive: false });
    this.canvas.addEventListener('keydown', (event) => this.key(event));
    for (const input of document.querySelectorAll('input[name="sphere-through"]')) {
      input.addEventListener('change', () => this.moved());
    }
  }

  /** The shot as it stands now. */
  show(shot: ShotView): void {
    if (shot.shot !== this.shot?.shot) {
      this.looks = { template: null, touched: null };
      this.place = null;
      this.marker.toggle(false);
    }
    this.shot = shot;
    this.edits += 1;
    this.view.setLevel(shot.level && 'levelled_from_rig' in shot.level ? shot.level.levelled_from_rig : UNTURNED);
    this.globe?.load(api.sphere(shot.shot), () => this.paint());
    this.moved();
  }

  /** Looks at a place and marks it. */
  lookAt(place: Place): void {
    this.place = place;
    this.view.lookAt(place);
    this.moved();
  }

  private through(): Through {
    return element<HTMLInputElement>('sphere-before').checked ? 'template' : 'touched';
  }

  private layout(): void {
    const box = this.canvas.getBoundingClientRect();
    const ratio = window.devicePixelRatio || 1;
    this.canvas.width = Math.round(box.width * ratio);
    this.canvas.height = Math.round(box.height * ratio);
    this.context.setTransform(ratio, 0, 0, ratio, 0, 0);
    [this.view.width, this.view.height] = [Math.max(1, box.width), Math.max(1, box.height)];
    this.view.zoom(1); // not wider than can be drawn
    this.moved();
  }

  /** What lay under `from` lies under `to` then, as nearly as a level horizon allows. */
  private pinched(factor: number, from: Place, to: Place): void {
    const held = this.view.place(...from);
    this.view.zoom(factor);
    const [x, y] = this.view.screen(held) ?? to;
    const scale = this.view.deg_per_px();
    this.view.turn((x - to[0]) * scale, (to[1] - y) * scale);
    this.moved();
  }

  private pull(event: PointerEvent): void {
    const { offsetX: x, offsetY: y } = event;
    if (!this.drag) return this.marker.move(this.view.place(x, y));
    if (!this.drag.moved && Math.hypot(x - this.drag.x, y - this.drag.y) < 4) return;
    const scale = this.view.deg_per_px();
    this.view.turn(-(x - this.drag.x) * scale, (y - this.drag.y) * scale);
    this.drag = { x, y, moved: true };
    this.moved();
  }

  private key(event: KeyboardEvent): void {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const middle = (): Place => this.view.place(this.view.width / 2, this.view.height / 2);
    const step = this.view.tall_deg / (event.shiftKey ? 80 : 8);
    const turns: Record<string, Place> = {
      ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step],
    };
    const turn = turns[event.key];
    if (turn) {
      this.view.turn(...turn);
      this.marker.move(middle());
    } else if (event.key === 'v' || event.key === 'V') this.marker.toggle();
    else if (event.key === 'Enter' && this.marker.on) this.marker.put(middle());
    else if (event.key === 'Escape' && this.marker.back()) { /* let go */ }
    else if (event.key === '+' || event.key === '=') this.view.zoom(1.25);
    else if (event.key === '-') this.view.zoom(0.8);
    else if (event.key === 'Home') this.view.lookAt(this.place ?? [0, 0]);
    else if (event.key === 'b' || event.key === 'B') {
      element<HTMLInputElement>(this.through() === 'touched' ? 'sphere-before' : 'sphere-after').checked = true;
    } else return;
    event.preventDefault();
    this.moved();
  }

  /** What a look is drawn for, but for the edits. */
  private viewKey(): string {
    const { middle, level, tall_deg, width, height } = this.view;
    return [this.shot?.shot, ...middle, ...level.flat(), tall_deg, width, height].join(' ');
  }

  private isSharp(through: Through): boolean {
    const look = this.looks[through];
    return look !== null && look.view === this.viewKey() && (through === 'template' || look.edits === this.edits);
  }

  private moved(): void {
    this.paint();
    window.clearTimeout(this.resting);
    this.resting = window.setTimeout(() => void this.load(), this.globe ? REST_MS : 0);
  }

  /** The look that is shown first, then the other one, so that before and after change at once. */
  private async load(): Promise<void> {
    if (this.loading || !this.shot || this.view.width < 16 || this.view.height < 16) return;
    const through = this.through();
    const wanted = [through, through === 'touched' ? 'template' : 'touched'] as Through[];
    const missing = wanted.find((one) => !this.isSharp(one));
    if (!missing) return;
    this.loading = true;
    const [key, edits] = [this.viewKey(), this.edits];
    const { middle, width, height } = this.view;
    const scale = Math.min(1, Math.sqrt(MOST_LOOK_PX / (width * height)));
    const path = api.look(this.shot.shot, missing, middle, this.view.wide_deg(),
      Math.max(16, Math.round(width * scale)), Math.max(16, Math.round(height * scale)), edits);
    try {
      this.looks[missing] = { image: await picture(path), view: key, edits };
    } catch {
      this.looks[missing] = null; // said by the next call that fails
    }
    this.loading = false;
    this.paint();
    if (this.looks[missing]) void this.load();
  }

  private paint(): void {
    const { context: c, view } = this;
    c.clearRect(0, 0, view.width, view.height);
    const look = this.looks[this.through()];
    this.canvas.dataset.sharp = String(this.isSharp(this.through()));
    this.canvas.dataset.view = [...view.middle, view.tall_deg].join(' ');
    // After an edit the last look stays until the new one is there.
    if (look && (!this.globe || look.view === this.viewKey())) c.drawImage(look.image, 0, 0, view.width, view.height);
    else this.globe?.draw(view);
    for (const tie of this.shot?.ties ?? []) {
      const ends = tie.on_sphere.map((place) => place && view.screen(place));
      for (const end of ends) if (end) this.ring(end, tie.on ? residualColour(left_px(tie)) : '#b8b2a6');
    }
    const at = this.place && view.screen(this.place);
    if (at) this.cross(at);
    for (const edge of this.shot?.verticals ?? []) this.edge(edge.on_sphere);
    const [first, second] = this.marker.begun;
    if (first) this.edge([first, second ?? first]);
    if (this.marker.on) this.crosshair();
  }

  // A thin line from end to end, open at the ends: the places themselves stay visible.
  private edge(ends: [Place, Place]): void {
    this.cased('#7fd0de', 1, () => {
      let last: Place | null = null;
      for (const place of along(ends)) {
        const at = this.view.screen(place);
        if (at && last) this.context.lineTo(...at);
        else if (at) this.context.moveTo(...at);
        last = at;
      }
    });
    for (const end of ends) {
      const at = this.view.screen(end);
      if (at) this.ring(at, '#7fd0de');
    }
  }

  private crosshair(): void {
    const [x, y] = [this.view.width / 2, this.view.height / 2];
    this.cased('#ffffff', 1, () => {
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]] as const) {
        this.context.moveTo(x + 2 * dx, y + 2 * dy);
        this.context.lineTo(x + 9 * dx, y + 9 * dy);
      }
    });
  }

  private cased(colour: string, width: number, trace: () => void): void {
    for (const [style, w] of [['rgba(0,0,0,.8)', width + 3], ['#ffffff', width + 1.5], [colour, width]] as const) {
      this.context.strokeStyle = style;
      this.context.lineWidth = w;
      this.context.beginPath();
      trace();
      this.context.stroke();
    }
  }

  private ring([x, y]: Place, colour: string): void {
    this.cased(colour, 1.5, () => this.context.arc(x, y, 7, 0, 2 * Math.PI));
  }

  // Open in the middle: the place itself stays visible.
  private cross([x, y]: Place): void {
    this.cased('#ffffff', 1, () => {
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]] as const) {
        this.context.moveTo(x + 12 * dx, y + 12 * dy);
        this.context.lineTo(x + 22 * dx, y + 22 * dy);
      }
    });
  }
}

// Where the two strips lie on the canvas: one above the other, links and profile between and below.
import type { PairView, Place } from './api';

export const GAP = 56;
export const FOOT = 84; // coverage, expected error, depth

export class Viewport {
  scale = 1; // css px per ribbon px
  left = 0; // ribbon px at the canvas' left edge
  top = 0; // css px scrolled down
  width = 1;
  height = 1;
  stacked = true; // one strip over the other, or both on one place

  constructor(public pair: PairView) {}

  resize(width: number, height: number): void {
    this.width = width;
    this.height = height;
    this.clamp();
  }

  fit(): void {
    this.scale = this.width / this.pair.width_px;
    this.left = 0;
    this.top = 0;
  }

  /** Keeps the ribbon place under (x, y) where it is. */
  zoom(factor: number, x: number, y: number): void {
    const at = this.left + x / this.scale;
    const before = this.scale;
    this.scale = Math.min(12, Math.max(this.width / this.pair.width_px, this.scale * factor));
    this.left = at - x / this.scale;
    this.top = ((this.top + y) * this.scale) / before - y;
    this.clamp();
  }

  pan(dx: number, dy: number): void {
    this.left -= dx / this.scale;
    this.top -= dy;
    this.clamp();
  }

  private clamp(): void {
    const whole = this.width / this.pair.width_px;
    this.scale = Math.max(this.scale, whole);
    if (this.pair.closed) {
      this.left = ((this.left % this.pair.width_px) + this.pair.width_px) % this.pair.width_px;
    } else {
      this.left = Math.min(Math.max(0, this.left), this.pair.width_px - this.width / this.scale);
    }
    this.top = Math.min(Math.max(0, this.content() - this.height + FOOT), Math.max(0, this.top));
  }

  private content(): number {
    return this.stripHeight() * (this.stacked ? 2 : 1) + (this.stacked ? GAP : 0);
  }

  stripHeight(): number {
    return this.pair.height_px * this.scale;
  }

  /** Top of the strip of row 0 or 1. A picture that leaves room stands in its middle. */
  stripTop(row: number): number {
    const room = Math.max(0, this.height - FOOT - this.content()) / 2;
    return room - this.top + (this.stacked ? row * (this.stripHeight() + GAP) : 0);
  }

  screenX(x: number): number {
    let px = (x - this.left) * this.scale;
    const turn = this.pair.width_px * this.scale;
    if (this.pair.closed) {
      px = ((px % turn) + turn) % turn;
      if (px > this.width && px - turn > -40) px -= turn;
    }
    return px;
  }

  screen(row: number, at: Place): Place {
    return [this.screenX(at[0]), this.stripTop(row) + at[1] * this.scale];
  }

  /** The strip and place under a canvas point. */
  ribbon(x: number, y: number): { row: number; at: Place } | null {
    for (const row of this.stacked ? [0, 1] : [0]) {
      const v = (y - this.stripTop(row)) / this.scale;
      if (v < 0 || v >= this.pair.height_px) continue;
      let u = this.left + x / this.scale;
      if (this.pair.closed) u %= this.pair.width_px;
      return { row, at: [u, v] };
    }
    return null;
  }
}

// Where places of the sphere lie on a flat look, as the server draws it (compose/flat_look.h). Places are
// those of the panorama as the body stood; `middle` is of the levelled one, which the look shows.
import type { Place, Turn } from './api';
import { deg, direction, dot, placeOf, rad, turned, turnedBack, UNTURNED, type Vector } from './directions';

const TALLEST_DEG = 90;
const LOWEST_DEG = 4;
const WIDEST_DEG = 135;

export class SphereView {
  middle: Place = [0, 0]; // longitude, latitude, degrees
  level: Turn = UNTURNED; // levelled from as the body stood
  tall_deg = 40; // from top to bottom
  width = 1; // css px
  height = 1;

  turn(longitude_deg: number, latitude_deg: number): void {
    const [longitude, latitude] = [this.middle[0] + longitude_deg, this.middle[1] + latitude_deg];
    const turns = Math.round(longitude / 360);
    this.middle = [longitude - 360 * turns, Math.min(89.9, Math.max(-89.9, latitude))];
  }

  lookAt(place: Place): void {
    this.middle = placeOf(turned(this.level, direction(place)));
    this.turn(0, 0); // not straight up or down
  }

  /** What lies in the middle stays there, upright now. */
  setLevel(level: Turn): void {
    const now = this.level.flat();
    if (level.flat().every((value, i) => value === now[i])) return;
    const middle = this.place(this.width / 2, this.height / 2);
    this.level = level;
    this.lookAt(middle);
  }

  zoom(factor: number): void {
    const widest = 2 * deg(Math.atan((Math.tan(rad(WIDEST_DEG / 2)) * this.height) / this.width));
    this.tall_deg = Math.min(TALLEST_DEG, widest, Math.max(LOWEST_DEG, this.tall_deg / factor));
  }

  /** Pixels per unit of the plane one unit ahead. */
  focal(): number {
    return this.height / 2 / Math.tan(rad(this.tall_deg / 2));
  }

  wide_deg(): number {
    return 2 * deg(Math.atan(this.width / 2 / this.focal()));
  }

  /** Degrees that a drag of a pixel turns by. */
  deg_per_px(): number {
    return deg(1 / this.focal());
  }

  private axes(): { right: Vector; down: Vector; ahead: Vector } {
    const ahead = direction(this.middle);
    const right: Vector = [Math.cos(rad(this.middle[0])), 0, -Math.sin(rad(this.middle[0]))];
    const down: Vector = [
      ahead[1] * right[2] - ahead[2] * right[1],
      ahead[2] * right[0] - ahead[0] * right[2],
      ahead[0] * right[1] - ahead[1] * right[0],
    ];
    return { right, down, ahead };
  }

  /** Canvas px of a place; null behind the viewer. */
  screen(place: Place): Place | null {
    const { right, down, ahead } = this.axes();
    const d = turned(this.level, direction(place));
    const depth = dot(d, ahead);
    if (depth < 0.05) return null;
    return [this.width / 2 + (this.focal() * dot(d, right)) / depth, this.height / 2 + (this.focal() * dot(d, down)) / depth];
  }

  /** The place under a canvas point. */
  place(x: number, y: number): Place {
    const { right, down, ahead } = this.axes();
    const [u, v] = [(x - this.width / 2) / this.focal(), (y - this.height / 2) / this.focal()];
    const d = ahead.map((a, i) => a + u * (right[i] ?? 0) + v * (down[i] ?? 0)) as Vector;
    return placeOf(turnedBack(this.level, d));
  }
}

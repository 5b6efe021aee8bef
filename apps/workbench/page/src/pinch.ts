// Two fingers on a canvas: apart or together to zoom, aside to move.
import type { Place } from './api';

export class Pinch {
  private readonly fingers = new Map<number, Place>();
  private both = false;

  /**
   * Listens before whoever listens to the canvas afterwards. `begun`: what one finger had begun is void.
   * `moved`: what lay under `from`, between the fingers, now lies under `to`, `factor` times as large.
   */
  constructor(canvas: HTMLElement, begun: () => void, moved: (factor: number, from: Place, to: Place) => void) {
    canvas.addEventListener('pointerdown', (event) => {
      this.fingers.set(event.pointerId, [event.offsetX, event.offsetY]);
      if (this.fingers.size !== 2 || this.both) return;
      this.both = true;
      begun();
    });
    canvas.addEventListener('pointermove', (event) => {
      const before = this.between();
      if (!this.fingers.has(event.pointerId)) return;
      this.fingers.set(event.pointerId, [event.offsetX, event.offsetY]);
      const after = this.between();
      if (before && after && before.apart > 0 && after.apart > 0) moved(after.apart / before.apart, before.middle, after.middle);
    });
    for (const kind of ['pointerup', 'pointercancel'] as const) {
      canvas.addEventListener(kind, (event) => {
        this.fingers.delete(event.pointerId);
        if (this.fingers.size === 0) this.both = false;
      });
    }
  }

  /** Until all fingers are lifted nothing else is meant by any of them. */
  get on(): boolean {
    return this.both;
  }

  private between(): { middle: Place; apart: number } | null {
    const [a, b] = [...this.fingers.values()];
    if (!a || !b) return null;
    return { middle: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2], apart: Math.hypot(a[0] - b[0], a[1] - b[1]) };
  }
}

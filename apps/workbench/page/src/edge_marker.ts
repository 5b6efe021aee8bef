// Marking an upright edge on the sphere: one end, then the other, by a click or, under the crosshair in
// the view's middle, by Enter. Ends are places of the panorama before it is levelled.
import type { Place } from './api';
import { between_deg } from './directions';
import { element, say } from './panel';

// Short enough for one line: the sphere must not move while it is marked.
const FIRST = 'click one end, or Enter in the middle';
const LEAST_DEG = 5; // a shorter edge tells the level badly

export class EdgeMarker {
  private readonly button = element<HTMLButtonElement>('mark-edge');
  private first: Place | null = null;
  /** Where the second end would be. */
  private at: Place | null = null;

  constructor(private readonly mark: (ends: [Place, Place]) => void, private readonly changed: () => void) {
    this.button.addEventListener('click', () => this.toggle());
  }

  get on(): boolean {
    return this.button.getAttribute('aria-pressed') === 'true';
  }

  /** What is being marked: nothing, one end, or a line to where the pointer is. */
  get begun(): Place[] {
    return this.first ? [this.first, ...(this.at ? [this.at] : [])] : [];
  }

  toggle(on = !this.on): void {
    if (on === this.on) return;
    this.button.setAttribute('aria-pressed', String(on));
    [this.first, this.at] = [null, null];
    if (on) element('sphere').focus();
    say(on ? FIRST : '');
    this.changed();
  }

  /** Lets go of the first end, or else of the whole. Returns whether there was anything to let go. */
  back(): boolean {
    if (!this.on) return false;
    if (!this.first) this.toggle(false);
    else {
      [this.first, this.at] = [null, null];
      say(FIRST);
      this.changed();
    }
    return true;
  }

  put(end: Place): void {
    if (!this.on) return;
    const { first } = this;
    if (!first) {
      this.first = end;
      say('now the other end, far from the first');
    } else if (between_deg(first, end) < LEAST_DEG) {
      say(`pick an end at least ${LEAST_DEG} degrees away`, true);
    } else {
      this.toggle(false);
      this.mark([first, end]);
    }
    this.changed();
  }

  move(at: Place): void {
    if (!this.first) return;
    this.at = at;
    this.changed();
  }
}

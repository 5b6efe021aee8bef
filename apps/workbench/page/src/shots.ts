// The list of shots: by name, and worst first once they are checked; the check runs on the server.
import { api, listen, picture, type CheckStatus, type ShotLine } from './api';
import { element, say } from './panel';

/** The first clause of a finding; the rest stands in the panel of the open shot. */
const short = (words: string): string => words.split(/[;(:]/)[0]?.trim() ?? words;

function worst(shot: ShotLine): string {
  if (!shot.check) return '';
  if (shot.check.failure) return 'could not be checked';
  const finding = shot.check.findings[0];
  return finding ? short(finding.words) : 'nothing found';
}

function span(kind: string, text: string): HTMLElement {
  const made = document.createElement('span');
  made.className = kind;
  made.textContent = text;
  return made;
}

export class ShotList {
  private shots: ShotLine[] = [];
  private order: number[] = [];
  private current = 0;
  private checked = -1;
  private events: AbortController | null = null;
  private pictures = new Map<number, { path: string; image: HTMLImageElement }>();
  private heard: Promise<void> = Promise.resolve(); // news is taken in the order it came

  constructor(private open: (shot: number) => void) {
    element('check').addEventListener('click', () => void this.startOrStop());
  }

  /** Asks the server; `current`: the shot that is open. */
  async refresh(current = this.current): Promise<void> {
    const { shots, order } = await api.shots();
    [this.shots, this.order, this.current] = [shots, order, current];
    this.show();
  }

  /** The shot to begin with. */
  first(): number {
    return this.order[0] ?? 0;
  }

  /** The shot before or after in the list; null where there is only one. */
  beside(shot: number, by: number): number | null {
    if (this.order.length < 2) return null;
    const at = this.order.indexOf(shot) + by + this.order.length;
    return this.order[at % this.order.length] ?? null;
  }

  findings(shot: number): ShotLine['check'] {
    return this.shots[shot]?.check ?? null;
  }

  /** What was saved is looked at again, where anything was. */
  async again(): Promise<void> {
    if (this.shots.some((shot) => shot.check)) await this.check();
  }

  private async startOrStop(): Promise<void> {
    try {
      if (this.events) await api.stopCheck();
      else await this.check();
    } catch (fault) {
      say((fault as Error).message, true);
    }
  }

  private async check(): Promise<void> {
    await api.startCheck();
    if (this.events) return;
    const events = new AbortController();
    this.events = events;
    element('check').textContent = 'Stop checking';
    listen<CheckStatus>(api.checkEvents, events.signal, (status) => {
      this.heard = this.heard.then(() => this.hear(status)).catch((fault: Error) => say(fault.message, true));
    }).catch((fault: Error) => { if (!events.signal.aborted) say(fault.message, true); })
      .finally(() => { this.heard = this.heard.then(() => { if (this.events === events) this.over(); }); });
  }

  private async hear(status: CheckStatus): Promise<void> {
    const working = status.state === 'working';
    if (!working) this.over();
    if (status.checked !== this.checked || !working) {
      this.checked = status.checked;
      await this.refresh();
      document.dispatchEvent(new Event('checked'));
    }
    // Said last: whoever reads "worst first" sees a list in that order.
    element('check-says').textContent =
      working && status.name ? `${status.checked} of ${status.count}; ${status.name}: ${status.stage}`
        : status.state === 'done' ? 'worst first' : status.state === 'cancelled' ? `stopped after ${status.checked} of ${status.count}` : '';
  }

  private over(): void {
    this.events?.abort();
    this.events = null;
    element('check').textContent = 'Check all shots';
  }

  private show(): void {
    const list = element('shots');
    const focused = document.activeElement?.closest('#shots button')?.getAttribute('data-shot');
    list.replaceChildren(...this.order.map((shot) => this.line(shot)));
    const button = (shot: string | number): HTMLElement | null => list.querySelector(`[data-shot="${shot}"]`);
    if (focused) button(focused)?.focus();
    button(this.current)?.scrollIntoView({ block: 'nearest', inline: 'nearest' });
  }

  private line(index: number): HTMLElement {
    const shot = this.shots[index] as ShotLine;
    const button = document.createElement('button');
    button.type = 'button';
    button.dataset.shot = String(index);
    if (index === this.current) button.setAttribute('aria-current', 'true');
    if (shot.check && !shot.check.failure) button.append(this.pictureOf(index, shot.check.score_px));
    else this.pictures.delete(index);
    button.append(span('name', shot.name));
    if (shot.check) button.append(span('worst', worst(shot)));
    button.append(span('state', shot.unsaved ? 'unsaved edits' : shot.has_file ? 'shot file' : 'not touched'));
    button.addEventListener('click', () => this.open(index));
    const entry = document.createElement('li');
    entry.append(button);
    return entry;
  }

  // Every list takes over the pictures of the one before.
  private pictureOf(index: number, score_px: number): HTMLImageElement {
    const path = api.picture(index, score_px);
    const known = this.pictures.get(index);
    if (known?.path === path) return known.image;
    const image = new Image(320, 192);
    image.alt = '';
    this.pictures.set(index, { path, image });
    picture(path, image).catch(() => { // asked for again with the next list
      if (this.pictures.get(index)?.image === image) this.pictures.delete(index);
    });
    return image;
  }
}

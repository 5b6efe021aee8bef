// The lists and figures beside the ring.
import type { Check, ShotView, TieView } from './api';
import { left_px } from './ring_painter';

export function element<T extends HTMLElement>(id: string): T {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no ${id}`);
  return found as T;
}

const sentence = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);
const figure = (px: number): string => px.toFixed(2);

function item(list: HTMLElement, text: string, pressed: boolean, act: () => void): HTMLButtonElement {
  const button = document.createElement('button');
  button.type = 'button';
  button.textContent = text;
  if (pressed) button.setAttribute('aria-current', 'true');
  button.addEventListener('click', act);
  const entry = document.createElement('li');
  entry.append(button);
  list.append(entry);
  return button;
}

function line(parent: HTMLElement, text: string, kind = ''): void {
  const p = document.createElement(parent.tagName === 'OL' ? 'li' : 'p');
  p.textContent = text;
  p.className = kind;
  parent.append(p);
}

export function showFigures(view: ShotView): void {
  element('shot-name').textContent = view.name;
  const held = view.ties.filter((tie) => tie.on).length;
  const touch = view.touch;
  element('figures').textContent =
    held === 0
      ? 'No ties yet: the template stands as it is.'
      : `${held} ${held === 1 ? 'tie' : 'ties'}: left between the lenses ${figure(touch.rms_after_px)} px, ` +
        `by the template ${figure(touch.rms_before_px)} px; moved ${touch.moved_sigmas.toFixed(1)} sigmas` +
        (view.unsaved ? '; not saved' : '');
  element<HTMLButtonElement>('undo').disabled = !view.can_undo;
  element<HTMLButtonElement>('redo').disabled = !view.can_redo;
  element<HTMLButtonElement>('save').disabled = !view.unsaved;
}

export function showTies(view: ShotView, chosen: number | null, choose: (id: number) => void): void {
  const list = element('ties');
  list.replaceChildren();
  for (const tie of view.ties) {
    const fit = tie.on ? `${figure(left_px(tie))} px left` : 'off';
    const button = item(list, `${tie.id}: ${fit}${tie.suspect ? ', look again' : ''}`, tie.id === chosen, () => choose(tie.id));
    if (!tie.on) button.classList.add('off');
  }
  if (view.ties.length === 0) line(list, 'Click a clear mark in one strip.');
}

export function showStrokes(view: ShotView, remove: (id: number) => void): void {
  const list = element('strokes');
  list.replaceChildren();
  view.strokes.forEach((stroke) => {
    const what = stroke.wish === 'lens' ? `lens ${stroke.lens} wanted` : stroke.wish === 'away' ? 'seam keeps away' : 'seam may pass';
    item(list, `Remove: ${what}`, false, () => remove(stroke.id));
  });
  if (view.strokes.length === 0) line(list, 'None.');
}

/** How the marked edges level the shot, in a sentence; empty without any. */
function levelWords(view: ShotView): string {
  if (!view.level) return '';
  if ('fault' in view.level) return `Not levelled: ${view.level.fault}`;
  const { tilt_deg, rms_lean_deg } = view.level;
  const stood = `Levelled: it stood ${tilt_deg.toFixed(2)}° off plumb.`;
  return view.verticals.length === 1
    ? `${stood} One edge tells nothing of a lean towards it: mark another, a quarter turn away.`
    : `${stood} The ${view.verticals.length} edges lean ${rms_lean_deg.toFixed(2)}° against that.`;
}

export function showVerticals(view: ShotView, remove: (id: number) => void): void {
  const list = element('verticals');
  list.replaceChildren();
  view.verticals.forEach((edge, i) => {
    item(list, `Remove: edge ${i + 1} at longitude ${edge.on_sphere[0][0].toFixed(0)}°`, false, () => remove(edge.id));
  });
  if (view.verticals.length === 0) line(list, 'None.');
  const level = element('level');
  level.textContent = levelWords(view);
  level.classList.toggle('finding', view.level !== null && 'fault' in view.level);
}

/** What the touch says of the ties, and what the check found of the shot as it was saved. */
export function showWords(view: ShotView, check: Check | null): void {
  const words = element('words');
  words.replaceChildren();
  if (check) {
    const title = document.createElement('h2');
    title.textContent = check.score_px > 0 ? `Found by the check: as bad as ${check.score_px.toFixed(1)} px` : 'Found by the check';
    words.append(title);
    for (const { words: found, remedy } of check.findings) line(words, `${sentence(found)}. ${sentence(remedy)}.`);
    if (check.findings.length === 0) line(words, check.failure || 'Nothing.');
  }
  for (const text of view.touch.findings) line(words, text, 'finding');
  for (const text of view.touch.advice) line(words, text);
}

/** The trust slider is logarithmic: its ends are 0.1 and 10 px. */
export function showChosen(tie: TieView | undefined): void {
  element('chosen').hidden = !tie;
  if (!tie) return;
  element('chosen-name').textContent = `Tie ${tie.id}`;
  const fit = tie.after;
  element('chosen-fit').textContent = fit
    ? `${figure(fit.parallax_px)} px in parallax, ${figure(fit.sideways_px)} px sideways; ` +
      (fit.distance_m > 0 ? `stands ${fit.distance_m.toFixed(1)} m away` : 'stands at infinity')
    : 'switched off: kept here, not in the shot file';
  for (const input of document.querySelectorAll<HTMLInputElement>('input[name="range"]')) {
    input.checked = input.value === tie.tie.range;
  }
  element<HTMLInputElement>('sigma').value = Math.log10(tie.tie.sigma_px).toFixed(2);
  element('sigma-shown').textContent = tie.tie.sigma_px.toFixed(2);
  element('switch').textContent = tie.on ? 'Switch off' : 'Switch on';
}

export function say(text: string, fault = false): void {
  const message = element('message');
  message.textContent = text;
  message.classList.toggle('fault', fault);
}

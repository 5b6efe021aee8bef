// The lists and figures beside the ring.
import type { ShotLine, ShotView, TieView } from './api';
import { left_px } from './ring_painter';

export function element<T extends HTMLElement>(id: string): T {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no ${id}`);
  return found as T;
}

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

export function showShots(shots: ShotLine[], current: number, open: (shot: number) => void): void {
  const list = element('shots');
  list.replaceChildren();
  shots.forEach((shot, i) => {
    const state = shot.unsaved ? 'unsaved edits' : shot.has_file ? 'shot file' : 'not touched';
    item(list, `${shot.name}: ${state}`, i === current, () => open(i));
  });
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

export function showStrokes(view: ShotView, remove: (index: number) => void): void {
  const list = element('strokes');
  list.replaceChildren();
  view.strokes.forEach((stroke, i) => {
    const what = stroke.wish === 'lens' ? `lens ${stroke.lens} wanted` : stroke.wish === 'away' ? 'seam keeps away' : 'seam may pass';
    item(list, `Remove: ${what}`, false, () => remove(i));
  });
  if (view.strokes.length === 0) line(list, 'None.');
}

export function showWords(view: ShotView): void {
  const words = element('words');
  words.replaceChildren();
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
    ? `${figure(fit.along_px)} px along, ${figure(fit.across_px)} px across; ` +
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

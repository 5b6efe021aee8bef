'use strict';
// Shows a tour from the data of its own page. Nothing is fetched but pictures; nothing of the data becomes
// markup. Directions are those of projection/conventions.h: x right, y down, z ahead; longitudes grow to the
// right, latitudes upwards.
(() => {
  const tour = JSON.parse(document.getElementById('tour').textContent);
  const view = document.getElementById('view');
  const marks = document.getElementById('marks');
  const menu = document.getElementById('menu');
  const plan = document.getElementById('plan');
  const calm = matchMedia('(prefers-reduced-motion: reduce)');
  const deg = Math.PI / 180;
  const kAside = 0.004;  // of a cube's edge
  const look = { lon: 0, lat: 0, field: 80 * deg };  // field: of the shorter side of the window
  let room = null;
  let scene = null;
  let drawn = 0;  // a frame that is asked for

  // --- geometry ------------------------------------------------------------------------------------------

  const direction = (lon, lat) =>
    [Math.sin(lon) * Math.cos(lat), -Math.sin(lat), Math.cos(lon) * Math.cos(lat)];
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const cross = (a, b) =>
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  // Rows: what is right, down and ahead in the window.
  const axes = () => {
    const ahead = direction(look.lon, look.lat);
    const right = [Math.cos(look.lon), 0, -Math.sin(look.lon)];
    return [right, cross(ahead, right), ahead];
  };
  const focal = () => Math.min(view.clientWidth, view.clientHeight) / 2 / Math.tan(look.field / 2);
  const wrapped = (angle) => angle - 2 * Math.PI * Math.round(angle / (2 * Math.PI));

  // CSS' z points out of the window: a matrix of ours, columns first.
  const css = (columns, move = [0, 0, 0]) => {
    const flipped = columns.map((c) => [c[0], c[1], -c[2], 0]);
    flipped.push([move[0], move[1], -move[2], 1]);
    return `matrix3d(${flipped.flat().map((n) => n.toFixed(9)).join(',')})`;
  };

  // --- pictures ------------------------------------------------------------------------------------------

  const placeOf = new WeakMap();  // of a picture around the eye, as CSS
  const picture = (of, face, size) =>
    [...of.folder.split('/'), size, `${face.name}.jpg`].map(encodeURIComponent).join('/');

  // Six pictures around the eye, ready once all are decoded. Each has a transform of its own: in a common
  // space Chromium would cut them at one another, and loses pieces of them.
  const cube = async (of, size) => {
    const box = document.createElement('div');
    box.className = 'cube';
    const ready = tour.faces.map((face) => {
      const image = new Image();
      const half = size / 2;
      image.alt = '';
      image.style.cssText = `width:${size}px;height:${size}px;left:${-size / 2}px;top:${-size / 2}px`;
      placeOf.set(image, css([face.right, face.down, face.ahead.map((n) => -n)], face.ahead.map((n) => half * n)));
      image.src = picture(of, face, size);
      box.append(image);
      return image.decode().catch(() => {});
    });
    await Promise.all(ready);
    return box;
  };

  const enough = (sizes) => {
    const wish = 2 * focal() * (window.devicePixelRatio || 1);
    return sizes.find((size) => size >= wish) || sizes[sizes.length - 1];
  };

  // A finer cube before the coarse one, which stays: where the finer pictures meet, it is seen through a
  // line as thin as a hair.
  const refine = async (of, on) => {
    const size = enough(of.sizes);
    if (on.size >= size || on.coming >= size) return;
    on.coming = size;
    const finer = await cube(of, size);
    if (on.size >= size || on !== scene) return;
    on.size = size;
    on.element.append(finer);
    paint();
    view.dataset.size = size;
    const between = [...on.element.children].slice(1, -1);
    requestAnimationFrame(() => requestAnimationFrame(() => between.forEach((old) => old.remove())));
  };

  const preload = (of) => {
    for (const door of of.doors) {
      const next = tour.rooms[door.to];
      for (const face of tour.faces) new Image().src = picture(next, face, next.sizes[0]);
    }
  };

  // --- drawing -------------------------------------------------------------------------------------------

  const lantern = () => {
    const ns = 'http://www.w3.org/2000/svg';
    const svg = document.createElementNS(ns, 'svg');
    svg.setAttribute('viewBox', '0 0 56 72');
    svg.setAttribute('aria-hidden', 'true');
    for (const [d, fill] of [
      ['M28 4a9 9 0 0 1 9 9h-3a6 6 0 0 0-12 0h-3a9 9 0 0 1 9-9z', '#2a241a'],
      ['M17 15h22l4 8H13z', '#2a241a'],
      ['M15 25h26l-3 30H18z', '#ffd58f'],
      ['M28 31c6 7 6 9 6 13a6 6 0 0 1-12 0c0-4 0-6 6-13z', '#fff6df'],
      ['M15 57h26v5H15z', '#2a241a'],
    ]) {
      const path = document.createElementNS(ns, 'path');
      path.setAttribute('d', d);
      path.setAttribute('fill', fill);
      svg.append(path);
    }
    return svg;
  };

  const distance = (door) => (door.distance_m === undefined ? '' : `${door.distance_m.toFixed(1)} m`);

  const place = (mark, door, rows, f) => {
    if (door.bearing_deg === undefined) return;
    const low = door.distance_m === undefined ? 0.35 : Math.atan2(tour.height_m, door.distance_m);
    const to = direction(door.bearing_deg * deg, -Math.min(low, 0.8));
    const [x, y, z] = rows.map((row) => dot(row, to));
    const left = view.clientWidth / 2 + (f * x) / z;
    const top = view.clientHeight / 2 + (f * y) / z;
    mark.hidden = z < 0.05 || left < -40 || top < -40 || left > view.clientWidth + 40 ||
      top > view.clientHeight + 90;
    if (!mark.hidden) mark.style.transform = `translate(${left.toFixed(1)}px,${top.toFixed(1)}px)`;
  };

  const paint = () => {
    drawn = 0;
    const f = focal();
    const rows = axes();
    const columns = [0, 1, 2].map((i) => rows.map((row) => row[i]));
    // Seen through CSS' own axes on both sides.
    columns[2] = columns[2].map((n) => -n);
    for (const element of view.querySelectorAll('.scene')) {
      [...element.children].forEach((box, i) => {
        // Moved a little, so that its own edges are not those of the finer one (0.8 degrees at most).
        const aside = i === 0 && element.children.length > 1 ? kAside * room.sizes[0] : 0;
        const seen = `perspective(${f}px) translateZ(${f}px) ${css(columns)} ` +
          `translate3d(${aside}px,${-1.7 * aside}px,${0.6 * aside}px)`;
        for (const image of box.children) image.style.transform = `${seen} ${placeOf.get(image)}`;
      });
    }
    if (!room) return;
    [...marks.children].forEach((mark, i) => place(mark, room.doors[i], rows, f));
    const wedge = plan.querySelector('path');
    if (wedge) {
      wedge.setAttribute('transform', `translate(${wedge.dataset.at}) rotate(${room.heading_deg + look.lon / deg})`);
    }
  };
  const draw = () => { drawn ||= requestAnimationFrame(paint); };

  const turn = (lon, lat) => {
    look.lon = wrapped(lon);
    look.lat = Math.max(-85 * deg, Math.min(85 * deg, lat));
    draw();
  };
  const zoom = (factor) => {
    look.field = Math.max(25 * deg, Math.min(110 * deg, look.field * factor));
    draw();
    if (room) refine(room, scene);
  };

  // --- rooms ---------------------------------------------------------------------------------------------

  const button = (words, detail, action) => {
    const made = document.createElement('button');
    made.type = 'button';
    made.append(words);
    if (detail) {
      const small = document.createElement('small');
      small.textContent = detail;
      made.append(small);
    }
    made.addEventListener('click', action);
    return made;
  };
  const item = (made) => {
    const li = document.createElement('li');
    li.append(made);
    return li;
  };

  const drawMarks = () => {
    marks.replaceChildren(...room.doors.map((door) => {
      const to = tour.rooms[door.to];
      const mark = button(lantern(), '', () => walk(door));
      mark.className = 'mark';
      mark.hidden = true;
      const words = document.createElement('span');
      words.textContent = to.title;
      mark.append(words);
      return mark;
    }));
    document.getElementById('next').replaceChildren(...room.doors.map((door) => {
      const made = button(tour.rooms[door.to].title, distance(door), () => walk(door));
      // By keyboard, the lantern comes into view.
      made.addEventListener('focus', () => {
        if (door.bearing_deg !== undefined && made.matches(':focus-visible')) turn(door.bearing_deg * deg, -0.15);
      });
      return item(made);
    }));
  };

  const drawPlan = () => {
    const here = tour.rooms.filter((r) => r.network === room.network && r.position_m);
    plan.hidden = !room.position_m || here.length < 2;
    if (plan.hidden) return plan.replaceChildren();
    const xs = here.map((r) => r.position_m[0]);
    const ys = here.map((r) => -r.position_m[1]);
    const size = Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys), 1) * 1.3;
    const left = (Math.max(...xs) + Math.min(...xs)) / 2;
    const top = (Math.max(...ys) + Math.min(...ys)) / 2;
    // Of a box of 100 x 100 in the middle of the plan.
    const at = (r) => [50 + 100 * (r.position_m[0] - left) / size, 50 + 100 * (-r.position_m[1] - top) / size];
    const ns = 'http://www.w3.org/2000/svg';
    const svg = document.createElementNS(ns, 'svg');
    svg.setAttribute('viewBox', '0 0 100 100');
    svg.setAttribute('aria-hidden', 'true');
    for (const from of here) {
      for (const door of from.doors) {
        const to = tour.rooms[door.to];
        if (!here.includes(to)) continue;
        const line = document.createElementNS(ns, 'line');
        const [x1, y1] = at(from);
        const [x2, y2] = at(to);
        for (const [key, value] of Object.entries({ x1, y1, x2, y2 })) line.setAttribute(key, value.toFixed(2));
        svg.append(line);
      }
    }
    const wedge = document.createElementNS(ns, 'path');
    wedge.setAttribute('d', 'M0 0L-9 -16A18 18 0 0 1 9 -16z');
    wedge.dataset.at = at(room).map((n) => n.toFixed(2)).join(' ');
    svg.append(wedge);
    const buttons = here.map((r) => {
      const made = button('', '', () => go(r));
      made.setAttribute('aria-label', r.title);
      made.title = r.title;
      const [x, y] = at(r);
      const box = 'min(11rem, 100%)';
      made.style.left = `calc(50% + ${((x - 50) / 100).toFixed(4)} * var(--box, ${box}))`;
      made.style.top = `calc(50% + ${((y - 50) / 100).toFixed(4)} * var(--box, ${box}))`;
      if (r === room) made.setAttribute('aria-current', 'true');
      return made;
    });
    plan.replaceChildren(svg, ...buttons);
    fitPlan();
  };
  const fitPlan = () => {
    plan.style.setProperty('--box', `${Math.min(plan.clientWidth, plan.clientHeight)}px`);
  };

  const drawAll = () => {
    document.getElementById('all').replaceChildren(...tour.rooms.map((r) => {
      const made = button(r.title, '', () => go(r));
      if (r === room) made.setAttribute('aria-current', 'true');
      return item(made);
    }));
  };

  // What one looks at stays ahead where the rooms share a map.
  const lonIn = (to, door) => {
    if (room && room.network !== undefined && room.network === to.network) {
      return look.lon + (room.heading_deg - to.heading_deg) * deg;
    }
    return door && door.back_deg !== undefined ? (door.back_deg + 180) * deg : (to.first_deg || 0) * deg;
  };

  const show = async (to, lon) => {
    room = to;
    turn(lon, Math.max(-0.4, Math.min(0.4, look.lat)));
    document.getElementById('here').textContent = to.title;
    view.setAttribute('aria-label', `${to.title}, all around`);
    document.title = `${to.title} – ${tour.title}`;
    drawMarks();
    drawPlan();
    drawAll();
    draw();
    const next = { element: document.createElement('div'), size: to.sizes[0], coming: 0 };
    next.element.className = 'scene';
    const before = scene;
    scene = next;
    const coarse = await cube(to, to.sizes[0]);
    if (scene !== next) return;
    next.element.append(coarse);
    view.append(next.element);
    paint();
    void next.element.offsetWidth;
    next.element.classList.add('shown');
    view.dataset.room = to.name;
    view.dataset.size = next.size;
    if (before) setTimeout(() => before.element.remove(), calm.matches ? 0 : 400);
    await refine(to, next);
    preload(to);
  };

  const go = (to, door) => {
    const lon = lonIn(to, door);
    const hash = '#' + encodeURIComponent(to.name);
    if (location.hash !== hash) location.hash = hash;
    show(to, lon);
    if (matchMedia('(max-width: 600px)').matches) menu.open = false;
  };
  const walk = (door) => { go(tour.rooms[door.to], door); view.focus({ preventScroll: true }); };

  const named = () => {
    let name = '';
    try { name = decodeURIComponent(location.hash.slice(1)); } catch { /* no name of ours */ }
    return tour.rooms.find((r) => r.name === name);
  };
  window.addEventListener('hashchange', () => {
    const to = named() || first;
    if (to !== room) show(to, lonIn(to));
  });

  // --- hands ---------------------------------------------------------------------------------------------

  const fingers = new Map();
  const spread = () => {
    const [a, b] = [...fingers.values()];
    return Math.hypot(a.x - b.x, a.y - b.y);
  };
  view.addEventListener('pointerdown', (event) => {
    view.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
  });
  view.addEventListener('pointermove', (event) => {
    const was = fingers.get(event.pointerId);
    if (!was) return;
    const before = fingers.size === 2 ? spread() : 0;
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (fingers.size === 2) return zoom(before / Math.max(spread(), 1));
    turn(look.lon - (event.clientX - was.x) / focal(), look.lat + (event.clientY - was.y) / focal());
  });
  for (const end of ['pointerup', 'pointercancel']) {
    view.addEventListener(end, (event) => fingers.delete(event.pointerId));
  }
  view.addEventListener('wheel', (event) => {
    event.preventDefault();
    zoom(Math.exp(event.deltaY * (event.deltaMode ? 0.05 : 0.001)));
  }, { passive: false });
  window.addEventListener('keydown', (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const step = look.field / 12;
    const keys = {
      ArrowLeft: () => turn(look.lon - step, look.lat),
      ArrowRight: () => turn(look.lon + step, look.lat),
      ArrowUp: () => turn(look.lon, look.lat + step),
      ArrowDown: () => turn(look.lon, look.lat - step),
      '+': () => zoom(0.9),
      '=': () => zoom(0.9),
      '-': () => zoom(1 / 0.9),
    };
    if (!keys[event.key]) return;
    keys[event.key]();
    event.preventDefault();
  });
  window.addEventListener('resize', () => { fitPlan(); draw(); });
  menu.addEventListener('toggle', () => { fitPlan(); draw(); });

  if (matchMedia('(min-width: 900px)').matches) menu.open = true;
  const first = named() || tour.rooms[tour.start];
  show(first, (first.first_deg || 0) * deg);
})();

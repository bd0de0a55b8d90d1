// Marks over a photo of a face: pressed, dragged, or moved with the arrow keys. The fields of the form carry the places; the
// server computes the figures, which follow the marks.
import { all, debounce } from './page.js';

const form = document.querySelector('form[data-marking]');
if (form) {
  const svg = form.querySelector('svg[data-scale]');
  const picture = form.querySelector('input[type=image]');
  const [, , across, down] = svg.getAttribute('viewBox').split(' ').map(Number);
  const marks = all('[data-mark]', svg);
  const field = (mark) => form.elements[mark.dataset.mark];
  const place = (mark) => {
    const at = field(mark).value.split(',').map(Number);
    return at.length === 2 && at.every(Number.isFinite) && field(mark).value.trim() ? at : null;
  };
  const isAsked = (mark) => !field(mark).closest('[hidden]');

  const draw = () => {
    const perPx = across / picture.width;
    for (const mark of marks) {
      const at = isAsked(mark) && place(mark);
      mark.setAttribute('visibility', at ? 'visible' : 'hidden');
      if (at) mark.setAttribute('transform', `translate(${at[0]} ${at[1]}) scale(${perPx})`);
    }
  };

  let running;
  const ask = debounce(250, async () => {
    const query = new URLSearchParams(new FormData(form));
    const address = `${form.getAttribute('action')}?${query}`;
    history.replaceState(null, '', address);
    running?.abort();
    running = new AbortController();
    try {
      const answer = await fetch(address, { signal: running.signal });
      if (!answer.ok) return;
      const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
      const figures = document.getElementById('figures');
      const ticked = all('input[type=checkbox]', figures).map((box) => [box.id, box.checked]);
      figures.innerHTML = page.getElementById('figures').innerHTML;
      for (const [id, checked] of ticked) {
        const box = document.getElementById(id);
        if (box) box.checked = checked;
      }
    } catch { /* the button still asks */ }
  });

  const set = (mark, x, y) => {
    const within = (at, most) => Math.min(Math.max(at, 0), most).toFixed(1);
    field(mark).value = `${within(x, across)},${within(y, down)}`;
    draw();
    ask();
  };
  const choose = (mark) => { form.elements.place.value = mark.dataset.mark; };
  const pressed = (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [point.x, point.y];
  };

  picture.addEventListener('click', (event) => {
    event.preventDefault();
    const mark = marks.find((each) => each.dataset.mark === form.elements.place.value && isAsked(each));
    // A key presses the photo at no place.
    if (!mark || event.detail === 0) return;
    set(mark, ...pressed(event));
    const next = marks.find((each) => isAsked(each) && !place(each));
    if (next) choose(next);
  });

  const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  for (const mark of marks) {
    mark.setAttribute('tabindex', '0');
    mark.setAttribute('role', 'button');
    const letter = mark.querySelector('text').textContent;
    mark.setAttribute('aria-label', `Mark ${letter}: ${mark.dataset.words}; arrow keys move it`);
    mark.addEventListener('focus', () => choose(mark));
    mark.addEventListener('pointerdown', (event) => { mark.setPointerCapture(event.pointerId); mark.focus(); event.preventDefault(); });
    mark.addEventListener('pointermove', (event) => { if (mark.hasPointerCapture(event.pointerId)) set(mark, ...pressed(event)); });
    mark.addEventListener('keydown', (event) => {
      const step = steps[event.key];
      const at = place(mark);
      if (!step || !at) return;
      event.preventDefault();
      const far = event.shiftKey ? 10 : 1;
      set(mark, at[0] + far * step[0], at[1] + far * step[1]);
    });
  }

  // A larger view keeps its middle where it was.
  const resize = () => {
    const view = form.querySelector('.marking');
    const middle = [(view.scrollLeft + view.clientWidth / 2) / picture.width, (view.scrollTop + view.clientHeight / 2) / picture.height];
    const wide = Number(form.elements.shown.value);
    for (const each of [picture, svg]) {
      each.setAttribute('width', wide);
      each.setAttribute('height', Math.round(wide * down / across));
    }
    view.scrollTo(middle[0] * wide - view.clientWidth / 2, middle[1] * wide * down / across - view.clientHeight / 2);
  };
  form.addEventListener('change', (event) => {
    if (event.target.name === 'shown') resize();
    draw();
    ask();
  });
  draw();
}

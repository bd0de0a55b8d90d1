// Moves points of an outline over its picture. The page's form carries the moves; the server computes the shape, and the
// size that follows what is moved.
import { all, debounce } from './page.js';

for (const figure of all('[data-outline]')) {
  const svg = figure.querySelector('svg');
  const { elements } = figure.closest('form');
  const field = elements.moves;
  const handles = all('[data-handle]', figure);
  const numbers = (text) => text.split(',').map(Number);
  const lines = all('polygon', figure).map((line) => ({ line, points: line.dataset.start.split(' ').map(numbers) }));
  const perLine = handles.length / lines.length;
  const starts = handles.map((handle) => numbers(handle.dataset.start));
  const most = Number(figure.dataset.most);
  const within = (far) => Math.min(Math.max(far, -most), most);
  let moves = [];
  const readMoves = () => {
    moves = handles.map(() => [0, 0]);
    for (const part of field.value.split(' ').filter(Boolean)) {
      const [number, x, y] = part.split(':').map(Number);
      if (moves[number] && Number.isFinite(x) && Number.isFinite(y)) moves[number] = [within(x), within(y)];
    }
  };

  const redraw = () => {
    handles.forEach((handle, i) => {
      handle.setAttribute('cx', starts[i][0] + moves[i][0]);
      handle.setAttribute('cy', starts[i][1] + moves[i][1]);
    });
    lines.forEach(({ line, points }, index) => {
      line.setAttribute('points', points.map(([x, y], i) => {
        const at = i / points.length * perLine;
        for (let h = 0; h < perLine; h += 1) {
          const away = Math.min(Math.abs(at - h), perLine - Math.abs(at - h), 1);
          const share = 0.5 + 0.5 * Math.cos(Math.PI * away);
          x += share * moves[index * perLine + h][0];
          y += share * moves[index * perLine + h][1];
        }
        return `${x.toFixed(1)},${y.toFixed(1)}`;
      }).join(' '));
    });
  };

  // The size of the outline with the points where they are.
  let running;
  const ask = debounce(200, async () => {
    running?.abort();
    running = new AbortController();
    const moved = new URLSearchParams({ moves: field.value, read_as: elements.read_as.value });
    try {
      const answer = await fetch(`${figure.dataset.outline}&${moved}`, { signal: running.signal });
      if (!answer.ok) return;
      const read = new DOMParser().parseFromString(await answer.text(), 'text/html').getElementById('read');
      if (read) document.getElementById('read').innerHTML = read.innerHTML;
    } catch { /* the button still asks */ }
  });
  field.addEventListener('input', () => { readMoves(); redraw(); ask(); });
  const move = (i, x, y) => {
    moves[i] = [within(x), within(y)];
    field.value = moves.map(([right, down], each) => [each, right, down]).filter(([, right, down]) => right || down)
      .map(([each, right, down]) => `${each}:${right.toFixed(2)}:${down.toFixed(2)}`).join(' ');
    // It is kept as what is typed.
    field.dispatchEvent(new Event('input', { bubbles: true }));
  };

  const place = (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [point.x, point.y];
  };
  handles.forEach((handle, i) => {
    handle.setAttribute('tabindex', '0');
    handle.setAttribute('role', 'button');
    handle.setAttribute('aria-label', `Point ${i} of the outline; arrow keys move it`);
    handle.addEventListener('pointerdown', (event) => { handle.setPointerCapture(event.pointerId); event.preventDefault(); });
    handle.addEventListener('pointermove', (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const [x, y] = place(event);
      move(i, x - starts[i][0], y - starts[i][1]);
    });
    const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    handle.addEventListener('keydown', (event) => {
      const step = steps[event.key];
      if (!step) return;
      event.preventDefault();
      move(i, moves[i][0] + step[0], moves[i][1] + step[1]);
    });
  });
  readMoves();
  if (field.value) { redraw(); ask(); }
}

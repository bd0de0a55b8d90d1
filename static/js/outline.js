// Moves points of an outline over its picture. The page's form carries the moves; the server computes the shape.
import { all } from './page.js';

for (const figure of all('[data-outline]')) {
  const svg = figure.querySelector('svg');
  const field = figure.closest('form').elements.moves;
  const handles = all('[data-handle]', figure);
  const lines = all('polygon', figure).map((line) => ({ line, points: [...line.points].map(({ x, y }) => [x, y]) }));
  const perLine = handles.length / lines.length;
  const starts = handles.map((handle) => [Number(handle.getAttribute('cx')), Number(handle.getAttribute('cy'))]);
  const moves = handles.map(() => [0, 0]);
  for (const part of field.value.split(' ').filter(Boolean)) {
    const [number, x, y] = part.split(':').map(Number);
    if (moves[number]) moves[number] = [x, y];
  }

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
    field.value = moves.map(([x, y], i) => [i, x, y]).filter(([, x, y]) => x || y)
      .map(([i, x, y]) => `${i}:${x.toFixed(2)}:${y.toFixed(2)}`).join(' ');
  };

  const place = (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [point.x, point.y];
  };
  handles.forEach((handle, i) => {
    handle.setAttribute('tabindex', '0');
    handle.setAttribute('role', 'button');
    handle.setAttribute('aria-label', `Point ${i + 1} of the outline; arrow keys move it`);
    handle.addEventListener('pointerdown', (event) => { handle.setPointerCapture(event.pointerId); event.preventDefault(); });
    handle.addEventListener('pointermove', (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const [x, y] = place(event);
      moves[i] = [x - starts[i][0], y - starts[i][1]];
      redraw();
    });
    const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    handle.addEventListener('keydown', (event) => {
      const step = steps[event.key];
      if (!step) return;
      event.preventDefault();
      moves[i] = [moves[i][0] + step[0], moves[i][1] + step[1]];
      redraw();
    });
  });
  if (field.value) redraw();
}

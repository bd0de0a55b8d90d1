// The corners of a card, or two marks on a ruler, pressed in a picture: their places are written into the field that is
// asked for, where they can be corrected.
import { all } from './page.js';

const counts = { corners: 4, ruler: 2 };

for (const figure of all('[data-places]')) {
  const svg = figure.querySelector('svg');
  const form = document.getElementById(figure.dataset.places);
  const near = svg.getAttribute('viewBox');
  const whole = figure.dataset.whole ?? near;
  const [, , across, down] = whole.split(' ').map(Number);
  const asked = () => form.elements.scale.value;
  const places = () => form.elements[asked()].value.trim().split(/\s+/).filter(Boolean);
  const layer = document.createElementNS(svg.namespaceURI, 'g');
  svg.append(layer);

  const draw = () => {
    layer.replaceChildren();
    svg.classList.toggle('pressed', asked() in counts);
    svg.setAttribute('viewBox', asked() in counts ? whole : near);
    if (!(asked() in counts)) return;
    const size = Math.max(across, down) / 90;
    for (const [x, y] of places().map((place) => place.split(',').map(Number))) {
      if (!Number.isFinite(x) || !Number.isFinite(y)) continue;
      const cross = document.createElementNS(svg.namespaceURI, 'path');
      cross.setAttribute('class', 'place');
      cross.setAttribute('d', `M${x - size} ${y}H${x + size}M${x} ${y - size}V${y + size}`);
      layer.append(cross);
    }
  };
  svg.addEventListener('click', (event) => {
    if (!(asked() in counts) || event.target.closest('[data-handle]')) return;
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const before = places().length >= counts[asked()] ? [] : places();
    form.elements[asked()].value = [...before, `${point.x.toFixed(1)},${point.y.toFixed(1)}`].join(' ');
    // It is kept as what is typed.
    form.elements[asked()].dispatchEvent(new Event('input', { bubbles: true }));
  });
  form.addEventListener('input', draw);
  draw();
}

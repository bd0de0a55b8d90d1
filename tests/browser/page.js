// What keeps somebody from using this page? Returns sentences. A few of the rules of WCAG 2.2 AA, those a script can judge.
const faults = [];
const all = (selector, root = document) => [...root.querySelectorAll(selector)];
const name = (e) => `<${e.tagName.toLowerCase()}${e.id ? ` id=${e.id}` : ''}${e.className?.length ? ` class="${e.className}"` : ''}> “${(e.textContent || e.value || '').trim().replace(/\s+/g, ' ').slice(0, 40)}”`;
const seen = (e) => e.checkVisibility({ visibilityProperty: true, opacityProperty: true });
const says = (e) => (e.getAttribute('aria-label') || all('*', e).map((c) => c.getAttribute('aria-label') || '').join('') || e.textContent || '').trim();

// Structure.
if (!document.documentElement.lang) faults.push('no language');
if (!document.title.trim()) faults.push('no title');
if (all('h1').length !== 1) faults.push(`${all('h1').length} h1`);
if (all('main').length !== 1) faults.push(`${all('main').length} main`);
let level = 0;
for (const heading of all('h1, h2, h3, h4, h5, h6').filter(seen)) {
  const next = Number(heading.tagName[1]);
  if (next > level + 1) faults.push(`from h${level} to h${next}: ${name(heading)}`);
  level = next;
}
const ids = all('[id]').map((e) => e.id);
for (const id of new Set(ids.filter((id, i) => ids.indexOf(id) !== i))) faults.push(`id ${id} stands twice`);
for (const attribute of ['aria-describedby', 'aria-labelledby', 'aria-controls', 'for']) {
  for (const e of all(`[${attribute}]`)) {
    for (const id of e.getAttribute(attribute).split(/\s+/).filter(Boolean)) {
      if (!document.getElementById(id)) faults.push(`${attribute}=${id} names nothing: ${name(e)}`);
    }
  }
}

// Names of what one can use.
for (const field of all('input:not([type=hidden]), select, textarea')) {
  const label = field.getAttribute('aria-label') || [...field.labels].map((l) => l.textContent).join('');
  if (!label.trim()) faults.push(`no label: ${name(field)}`);
  if (field.type === 'radio' && !field.closest('fieldset')?.querySelector('legend')) faults.push(`a choice without a question: ${name(field)}`);
}
for (const e of all('button, a[href], summary')) if (!says(e)) faults.push(`says nothing: ${name(e)}`);
for (const e of all('img:not([alt])')) faults.push('picture without words');
for (const e of all('svg')) {
  if (!e.closest('[aria-hidden=true]') && !(e.getAttribute('role') === 'img' && e.getAttribute('aria-label'))) faults.push(`drawing without words: ${name(e)}`);
}
for (const table of all('table')) {
  if (!all('thead th', table).length) faults.push(`table without heads: ${name(table)}`);
  for (const th of all('th', table)) if (!th.scope) faults.push(`head of nothing: ${name(th)}`);
}

// Something to hit: 24 px each way, or that far from its neighbors; a link within a line of text is exempt (2.5.8).
const targets = all('a[href], button, input:not([type=hidden]), select, textarea, summary').filter(seen)
  .filter((e) => getComputedStyle(e).display !== 'inline' || e.tagName !== 'A')
  .map((e) => [e, e.labels?.length && ['radio', 'checkbox'].includes(e.type) ? e.labels[0].getBoundingClientRect() : e.getBoundingClientRect()])
  .filter(([, box]) => box.bottom > 0);
for (const [e, box] of targets) if (box.width < 23.9 || box.height < 23.9) faults.push(`too small to hit, ${box.width.toFixed(0)} by ${box.height.toFixed(0)}: ${name(e)}`);

// Contrast of words against what lies behind them (1.4.3).
const canvas = new OffscreenCanvas(1, 1).getContext('2d', { willReadFrequently: true });
const known = new Map();
const rgba = (color) => {
  if (!known.has(color)) {
    canvas.clearRect(0, 0, 1, 1);
    canvas.fillStyle = color;
    canvas.fillRect(0, 0, 1, 1);
    const [r, g, b, a] = canvas.getImageData(0, 0, 1, 1).data;
    known.set(color, [r, g, b, a / 255]);
  }
  return known.get(color);
};
const over = ([r, g, b, a], below) => [r, g, b].map((v, i) => v * a + below[i] * (1 - a));
const light = (color) => color.map((v) => v / 255)
  .map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
  .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
const dark = matchMedia('(prefers-color-scheme: dark)').matches && !document.body.classList.contains('print-page');
const behind = (e) => {
  const layers = [];
  for (let at = e; at; at = at.parentElement) {
    layers.push(rgba(getComputedStyle(at).backgroundColor));
    if (layers.at(-1)[3] === 1) break;
  }
  return layers.reverse().reduce((below, layer) => over(layer, below), dark ? [0, 0, 0] : [255, 255, 255]);
};
const words = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
const told = new Set();
for (let node = words.nextNode(); node; node = words.nextNode()) {
  const e = node.parentElement;
  if (!node.textContent.trim() || !seen(e) || e.closest('script, style, :disabled, option, .visually-hidden, .skip')) continue;
  const style = getComputedStyle(e);
  const ground = behind(e);
  const ink = over(rgba(e.closest('svg') ? style.fill : style.color), ground);
  const [a, b] = [light(ink), light(ground)];
  const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
  const size = parseFloat(style.fontSize);
  const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
  const key = `${e.tagName} ${e.className} ${ratio.toFixed(2)}`;
  if (ratio < (large ? 3 : 4.5) && !told.has(key)) { told.add(key); faults.push(`contrast ${ratio.toFixed(2)}: ${name(e)}`); }
}

// Nothing runs out of the page sideways.
if (document.documentElement.scrollWidth > innerWidth) faults.push(`${document.documentElement.scrollWidth} px wide on a screen of ${innerWidth}`);
return faults;

// The arrow keys walk through the first links of a list, from anywhere but a field.
import { all } from './page.js';

const links = all('[data-rows] .job-link');

if (links.length) document.addEventListener('keydown', event => {
  if (event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (!step || event.target.closest('input, textarea, select, details')) return;
  const at = links.indexOf(document.activeElement);
  const to = at < 0 ? links.at(step > 0 ? 0 : -1) : links[at + step];
  if (!to) return;
  event.preventDefault();
  to.focus();
});

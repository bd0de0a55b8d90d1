// Find as you type. Arrows move, Enter or a click chooses, Escape closes.
import { all, debounce, latest } from './page.js';

for (const input of all('input[data-suggest]')) {
  const list = input.parentElement.querySelector('.suggestions');
  if (!list) continue;
  list.id ||= `${input.name}-list`;
  list.setAttribute('role', 'listbox');
  list.setAttribute('aria-label', 'Suggestions');
  const combobox = { role: 'combobox', 'aria-autocomplete': 'list', 'aria-expanded': 'false', 'aria-controls': list.id };
  for (const [name, value] of Object.entries(combobox)) input.setAttribute(name, value);
  const field = (name) => input.form?.elements.namedItem(name);
  const part = latest();
  let options = [], at = -1, filling = false;
  const mark = (next) => {
    at = next;
    options.forEach((option, i) => option.setAttribute('aria-selected', String(i === at)));
    if (at < 0) input.removeAttribute('aria-activedescendant');
    else { input.setAttribute('aria-activedescendant', options[at].id); options[at].scrollIntoView({ block: 'nearest' }); }
  };
  const show = (open) => {
    list.hidden = !open;
    input.setAttribute('aria-expanded', String(open));
    if (!open) mark(-1);
  };
  const close = () => { ask.cancel(); part.cancel(); show(false); };
  const choose = (option) => {
    filling = true;
    for (const [name, value] of Object.entries(JSON.parse(option.dataset.fill))) {
      const target = field(name);
      if (!target) continue;
      target.value = value;
      if (target.dispatchEvent) target.dispatchEvent(new Event('input', { bubbles: true }));
    }
    filling = false;
    close();
    input.focus();
  };
  const ask = debounce(150, async () => {
    try {
      list.innerHTML = await part(input.dataset.suggest, { q: input.value });
      options = all('button[data-fill]', list);
      options.forEach((option, i) => {
        option.id = `${list.id}-${i}`;
        option.tabIndex = -1;
        option.setAttribute('role', 'option');
      });
      mark(-1);
      show(list.childElementCount > 0);
    } catch (fault) { if (fault.name !== 'AbortError') show(false); }
  });
  input.addEventListener('input', () => {
    if (filling) return;
    for (const name of (input.dataset.clears ?? '').split(' ').filter(Boolean)) if (field(name)) field(name).value = '';
    if (input.value.trim()) ask(); else close();
  });
  input.addEventListener('keydown', (event) => {
    if (list.hidden || !options.length) return;
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step) mark(at < 0 && step < 0 ? options.length - 1 : (at + step + options.length) % options.length);
    else if (event.key === 'Enter' && at >= 0) choose(options[at]);
    else if (event.key === 'Escape') close();
    else return;
    event.preventDefault();
  });
  list.addEventListener('mousedown', (event) => event.preventDefault()); // keep the focus in the input
  list.addEventListener('click', (event) => {
    const option = event.target.closest('button[data-fill]');
    if (option) choose(option);
  });
  input.addEventListener('blur', close);
}

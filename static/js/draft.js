// Keeps what was typed: posts the form's fields a moment after the last key, and when leaving.
// Until they are saved this tab keeps a copy: a reload may ask for the page before the last post has arrived.
import { all, attempt, debounce } from './page.js';

const copies = attempt(() => sessionStorage, null);

for (const form of all('form[data-draft]')) {
  const copy = `typed ${form.dataset.draft}`;
  let unsaved = false;
  const fields = () => new URLSearchParams([...new FormData(form)].filter(([, value]) => typeof value === 'string'));
  const keepCopy = (text) => attempt(() => { if (text) copies?.setItem(copy, text); else copies?.removeItem(copy); });
  const save = () => {
    if (!unsaved) return;
    unsaved = false;
    fetch(`/drafts/${encodeURIComponent(form.dataset.draft)}`, {
      method: 'POST', keepalive: true, body: fields(),
    }).then((answer) => { if (!answer.ok) { unsaved = true; return; } if (!unsaved) keepCopy(''); form.dispatchEvent(new Event('kept')); }, () => { unsaved = true; });
  };
  const soon = debounce(400, save);
  const touched = () => { unsaved = true; keepCopy(fields().toString()); soon(); };
  form.addEventListener('input', touched);
  form.addEventListener('change', touched);
  // Once sent, a late draft must not come back.
  form.addEventListener('submit', () => { unsaved = false; soon.cancel(); keepCopy(''); });
  addEventListener('pagehide', save);

  const left = new URLSearchParams(copies?.getItem(copy) ?? '');
  for (const field of left.size ? form.elements : []) {
    if (!field.name || field.name === 'key' || ['file', 'submit', 'button', 'fieldset'].includes(field.type)) continue;
    if (['radio', 'checkbox'].includes(field.type)) field.checked = left.getAll(field.name).includes(field.value);
    else if (left.has(field.name)) field.value = left.get(field.name);
  }
  // After load every other module listens too.
  if (left.size) {
    addEventListener('load', () => {
      touched();
      for (const input of all('input[data-understood]', form)) input.dispatchEvent(new Event('input'));
    });
  }
}

// Keeps what was typed: posts the form's fields a moment after the last key, and when leaving.
// Until they are saved this tab keeps a copy: a reload may ask for the page before the last post has arrived.
// Each page names itself, so that a second window on the same form does not write over what the first one typed.
import { all, attempt, debounce } from './page.js';

const copies = attempt(() => sessionStorage, null);
const name = `${Date.now().toString(36)}-${Math.random().toString(36).slice(2, 12)}`;
const take = (key) => attempt(() => { const value = copies?.getItem(key) ?? ''; copies?.removeItem(key); return value; }, '');
const put = (key, value) => attempt(() => { if (value) copies?.setItem(key, value); else copies?.removeItem(key); });

for (const form of all('form[data-draft]')) {
  const copy = () => `typed ${form.dataset.draft}`;
  // The page that stood in this tab before; a second tab has none.
  const before = take(`left ${form.dataset.draft}`);
  let unsaved = false;
  const fields = () => new URLSearchParams([...new FormData(form)].filter(([, value]) => typeof value === 'string'));
  const openMs = () => Math.min(Math.max(Math.round(Date.now() - performance.timeOrigin), 0), 4e9);
  const who = () => new URLSearchParams({ window: name, before, open_ms: openMs() });
  const keepCopy = (text) => put(copy(), text);
  const tell = (html) => {
    if (form.dataset.told) return;
    form.dataset.told = 'yes';
    form.insertAdjacentHTML('beforebegin', html);
  };
  // Another window has this order: from now on this one types in an order of its own.
  const moveTo = (address) => {
    const [old, key] = [form.dataset.draft, address.split('/').pop().split('?')[0]];
    keepCopy('');
    form.dataset.draft = key;
    for (const each of [form, ...all('[data-summary]')]) {
      for (const part of ['action', 'data-summary']) {
        const value = each.getAttribute(part);
        if (value) each.setAttribute(part, value.replace(old, key));
      }
    }
    history.replaceState(null, '', address);
  };
  const kept = async (answer) => {
    if (!answer.ok) { unsaved = true; return; }
    if (answer.status === 200) {
      const address = answer.headers.get('content-location');
      tell(await answer.text());
      if (!address) return;
      moveTo(address);
    }
    if (!unsaved) keepCopy('');
    form.dispatchEvent(new Event('kept'));
  };
  const save = () => {
    if (!unsaved) return;
    unsaved = false;
    fetch(`/drafts/${encodeURIComponent(form.dataset.draft)}?${who()}`, {
      method: 'POST', keepalive: true, body: fields(),
    }).then(kept, () => { unsaved = true; });
  };
  const soon = debounce(400, save);
  const touched = () => { unsaved = true; keepCopy(fields().toString()); soon(); };
  form.addEventListener('input', touched);
  form.addEventListener('change', touched);
  // Once sent, a late draft must not come back.
  form.addEventListener('submit', () => {
    unsaved = false;
    soon.cancel();
    keepCopy('');
    if (form.id === 'order') form.setAttribute('action', `${form.getAttribute('action').split('?')[0]}?${who()}`);
  });
  addEventListener('pagehide', () => { save(); put(`left ${form.dataset.draft}`, name); });

  const left = new URLSearchParams(copies?.getItem(copy()) ?? '');
  for (const field of left.size ? form.elements : []) {
    if (!field.name || ['key', 'filled'].includes(field.name) || ['file', 'submit', 'button', 'fieldset'].includes(field.type)) continue;
    if (['radio', 'checkbox'].includes(field.type)) field.checked = left.getAll(field.name).includes(field.value);
    else if (left.has(field.name)) field.value = left.get(field.name);
  }
  // A form that was sent and refused stands in this page alone: it is kept like one that is being typed.
  const isRefused = performance.getEntriesByType('navigation')[0]?.responseStatus === 422;
  // After load every other module listens too.
  if (left.size || isRefused) {
    addEventListener('load', () => {
      touched();
      for (const input of all('input[data-understood]', form)) input.dispatchEvent(new Event('input'));
    });
  }
}

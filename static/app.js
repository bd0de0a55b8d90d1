'use strict';
// Comforts only: every page works without this file. Nothing here decides anything.
(() => {
  const all = (selector, root = document) => [...root.querySelectorAll(selector)];
  const later = (ms, work) => {
    let timer;
    const call = (...args) => { clearTimeout(timer); timer = setTimeout(() => work(...args), ms); };
    call.cancel = () => clearTimeout(timer);
    return call;
  };
  const fragment = async (url, params, signal) => {
    const answer = await fetch(`${url}?${new URLSearchParams(params)}`, { signal, credentials: 'same-origin' });
    if (!answer.ok) throw new Error(`answer ${answer.status}`);
    return answer.text();
  };

  // (a) Keep what was typed: post the form's fields a moment after the last key, and when leaving. Until the book has
  // them, this tab keeps a copy: a reload may ask for the page before the post of the one it leaves has come in.
  const copies = (() => { try { return sessionStorage; } catch { return null; } })();
  for (const form of all('form[data-draft]')) {
    const copy = `typed ${form.dataset.draft}`;
    let unsaved = false;
    const fields = () => new URLSearchParams([...new FormData(form)].filter(([, value]) => typeof value === 'string'));
    const keepCopy = (text) => { try { if (text) copies?.setItem(copy, text); else copies?.removeItem(copy); } catch { /* the post alone must do */ } };
    const save = () => {
      if (!unsaved) return;
      unsaved = false;
      fetch(`/drafts/${encodeURIComponent(form.dataset.draft)}`, {
        method: 'POST', keepalive: true, body: fields(),
      }).then((answer) => { if (!answer.ok) unsaved = true; else if (!unsaved) keepCopy(''); }, () => { unsaved = true; });
    };
    const soon = later(400, save);
    const touched = () => { unsaved = true; keepCopy(fields().toString()); soon(); };
    form.addEventListener('input', touched);
    form.addEventListener('change', touched);
    // Once sent, the order is the truth: a late draft must not come back.
    form.addEventListener('submit', () => { unsaved = false; soon.cancel(); keepCopy(''); });
    addEventListener('pagehide', save);

    const left = new URLSearchParams(copies?.getItem(copy) ?? '');
    for (const field of left.size ? form.elements : []) {
      if (!field.name || field.name === 'key' || ['file', 'submit', 'button', 'fieldset'].includes(field.type)) continue;
      if (['radio', 'checkbox'].includes(field.type)) field.checked = left.getAll(field.name).includes(field.value);
      else if (left.has(field.name)) field.value = left.get(field.name);
    }
    // Told once everything below listens too.
    if (left.size) addEventListener('load', () => { touched(); for (const input of all('input[data-understood]', form)) input.dispatchEvent(new Event('input')); });
  }

  // (b) One press, one post. The button that was pressed keeps its name and value in the post,
  // so it is disabled only after the browser has gathered the fields.
  document.addEventListener('submit', (event) => {
    const form = event.target;
    if (event.defaultPrevented || form.method === 'get') return;
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = 'yes';
    setTimeout(() => {
      for (const button of all('button:not([type=button]):not(:disabled)', form)) {
        button.disabled = true;
        button.dataset.held = 'yes';
      }
    });
  });
  addEventListener('pageshow', () => {
    for (const form of all('form[data-sent]')) delete form.dataset.sent;
    for (const button of all('button[data-held]')) { button.disabled = false; delete button.dataset.held; }
  });

  // (c) Say at once what was understood.
  for (const input of all('input[data-understood]')) {
    const line = all('[data-understood-for]').find((each) => each.dataset.understoodFor === input.name);
    if (!line) continue;
    let running;
    const ask = later(120, async () => {
      running?.abort();
      running = new AbortController();
      try {
        line.innerHTML = await fragment(input.dataset.understood, { text: input.value, name: input.name }, running.signal);
        // What the page asked about was another text.
        for (const place of [line, line.closest('.field')]) {
          while (place?.nextElementSibling?.matches('.warn')) place.nextElementSibling.remove();
        }
      } catch (fault) { if (fault.name !== 'AbortError') line.textContent = ''; }
    });
    input.addEventListener('input', ask);
    // A refused field has its sentence from the page already.
    if (input.value && !line.textContent.trim() && !input.matches('[aria-invalid=true]')) ask();
  }

  // (c2) Figures follow a form while it is typed in: the answer for its fields replaces the element it names.
  for (const form of all('form[data-live]')) {
    const target = document.getElementById(form.dataset.liveFor);
    if (!target) continue;
    let running;
    const ask = async () => {
      running?.abort();
      running = new AbortController();
      const opened = all('details', target).map((each) => each.open);
      try {
        const answer = await fetch(`${form.dataset.live}?${new URLSearchParams(new FormData(form))}`, { signal: running.signal, credentials: 'same-origin' });
        if (!answer.ok) return;
        target.innerHTML = await answer.text();
        // What was wrong when the page was made stands in the answer again if it still is.
        for (const old of all('.error', form)) old.remove();
        for (const field of all('[aria-invalid]', form)) field.removeAttribute('aria-invalid');
        all('details', target).forEach((each, i) => { each.open = opened[i] ?? false; });
      } catch { /* the button still asks */ }
    };
    form.addEventListener('input', ask);
  }

  // (d) Find as you type. Arrows move, Enter or a click chooses, Escape closes.
  for (const input of all('input[data-suggest]')) {
    const list = input.parentElement.querySelector('.suggestions');
    if (!list) continue;
    list.id ||= `${input.name}-list`;
    list.setAttribute('role', 'listbox');
    list.setAttribute('aria-label', 'Suggestions');
    for (const [key, value] of Object.entries({ role: 'combobox', 'aria-autocomplete': 'list', 'aria-expanded': 'false', 'aria-controls': list.id })) input.setAttribute(key, value);
    const field = (name) => input.form?.elements.namedItem(name);
    let options = [], at = -1, running, filling = false;
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
    const close = () => { ask.cancel(); running?.abort(); show(false); };
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
    const ask = later(150, async () => {
      running?.abort();
      running = new AbortController();
      try {
        list.innerHTML = await fragment(input.dataset.suggest, { q: input.value }, running.signal);
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

  // (e) Print buttons are of use only with a script, so they start hidden.
  for (const button of all('[data-print]')) {
    button.hidden = false;
    button.addEventListener('click', () => print());
  }

  // (f) Put the cursor where the first change is needed.
  const wrong = document.querySelector('main [aria-invalid=true]');
  if (wrong) (wrong.matches('fieldset') ? wrong.querySelector('input') ?? wrong : wrong).focus();

  // (g) "/" goes to the scan box from anywhere but a field. One-key shortcuts can be switched off.
  const scan = document.querySelector('input[data-scan]');
  const keysOff = () => { try { return localStorage.getItem('one-key') === 'off'; } catch { return false; } };
  for (const box of all('input[data-one-key]')) {
    box.checked = !keysOff();
    box.addEventListener('change', () => { try { localStorage.setItem('one-key', box.checked ? 'on' : 'off'); } catch { /* stays for this page only */ } });
  }
  scan?.addEventListener('focus', () => scan.select());
  document.addEventListener('keydown', (event) => {
    if (event.key !== '/' || event.ctrlKey || event.metaKey || event.altKey || !scan || keysOff()) return;
    if (event.target.closest?.('input, select, textarea, [contenteditable]')) return;
    event.preventDefault();
    scan.focus();
  });

  // (h) Radios, check boxes and options with data-shows="id id" bring their sections in and out.
  const switches = all('[data-shows]');
  const isOn = (each) => each.matches('option') ? each.selected : each.checked;
  const ids = (each) => each.dataset.shows.split(' ').filter(Boolean);
  const arrange = () => {
    const wanted = new Set(switches.filter(isOn).flatMap(ids));
    for (const id of new Set(switches.flatMap(ids))) {
      const section = document.getElementById(id);
      if (section) section.hidden = !wanted.has(id);
    }
  };
  if (switches.length) { arrange(); document.addEventListener('change', arrange); addEventListener('pageshow', arrange); }
})();

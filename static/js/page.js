// What the other modules share.

export const all = (selector, root = document) => [...root.querySelectorAll(selector)];

// Runs `work` once, `ms` after the last call.
export const debounce = (ms, work) => {
  let timer;
  const call = (...args) => { clearTimeout(timer); timer = setTimeout(() => work(...args), ms); };
  call.cancel = () => clearTimeout(timer);
  return call;
};

// Fetches parts of pages one after another: a new question stops the one before. What is asked is posted: in an address it
// would stay in the history of the browser.
export const latest = () => {
  let running;
  const ask = async (url, params) => {
    running?.abort();
    running = new AbortController();
    const answer = await fetch(url, { method: 'POST', body: new URLSearchParams(params), signal: running.signal, credentials: 'same-origin' });
    if (!answer.ok) throw new Error(`answer ${answer.status}`);
    return answer.text();
  };
  ask.cancel = () => running?.abort();
  return ask;
};

// Storage may be switched off or full; the page then does without it.
export const attempt = (work, otherwise = undefined) => { try { return work(); } catch { return otherwise; } };

// Radios, check boxes and options with data-shows="id id" bring their sections in and out.
import { all } from './page.js';

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
if (switches.length) {
  arrange();
  document.addEventListener('change', arrange);
  addEventListener('pageshow', arrange);
}

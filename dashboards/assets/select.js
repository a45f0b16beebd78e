"use strict";
// what is chosen in a list goes to the store that the list names
document.addEventListener("change", (event) => {
  const named = event.target.dataset?.sets;
  if (named) window.dash_clientside.set_props(JSON.parse(named), { data: event.target.value });
});

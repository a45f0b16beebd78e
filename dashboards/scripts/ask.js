"use strict";
// Stands first in every document: the content is on its way while Dash's scripts are still being read.
window.benchlogAsk = (path, search) => {
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  const answer = fetch("/content?" + new URLSearchParams({ path, search, zone }));
  // who waits for it also hears what went wrong; until then nobody does
  answer.catch(() => null);
  return { path, search, zone, answer };
};
window.benchlogAsked = window.benchlogAsk(location.pathname, location.search);

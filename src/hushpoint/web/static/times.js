// Times are kept in UTC and shown in local time; without scripts the UTC text stays.

const spoken = new Intl.DateTimeFormat(document.documentElement.lang === "en" ? undefined : document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });

/** @param {ParentNode} part */
function localTimes(part) {
  for (const one of part.querySelectorAll("time[datetime]")) {
    const moment = new Date(one.getAttribute("datetime") ?? "");
    if (!Number.isNaN(moment.getTime())) one.textContent = spoken.format(moment);
  }
}

localTimes(document);

#include <fmt/format.h>

#include "daemon/report/duration_words.h"
#include "daemon/report/local_days.h"
#include "daemon/web/pages.h"
#include "daemon/web/web_pages.h"

namespace torpor::daemon {
namespace {

// Seconds between two looks: the history is committed once a minute.
constexpr const char* kRefreshSeconds = "60";

constexpr Literal kWebStyle = R"css(
nav{display:flex;flex-wrap:wrap;gap:.2rem 1.2rem;align-items:baseline;border-bottom:1px solid var(--ink);margin-bottom:1rem;padding-bottom:.4rem}
nav a{padding:.45rem 0}nav [aria-current]{font-weight:600;text-decoration:none}
.skip{position:absolute;left:-99rem}.skip:focus{position:static}
.silent{border:2px solid var(--ink);padding:.5rem .8rem;margin-bottom:1rem}
.place{margin-top:1.4rem}.place h2{border:0;margin:0;text-transform:none;letter-spacing:0;font-size:1.1rem}
.board{list-style:none;display:flex;flex-wrap:wrap;align-items:stretch}
.board li{flex:1 0 7rem;max-width:9rem;border-bottom:.45rem solid var(--ink);padding:.4rem .2rem 0;text-align:center}
.board::after{content:"";flex:1 1 0;border-bottom:.45rem solid var(--ink)}
.board a{display:block;text-decoration:none;padding-bottom:.1rem}.board a:hover b{text-decoration:underline}
.board b,.board i,.board span{display:block;line-height:1.25}.board span{font-size:.86rem;color:var(--faint)}
.jar{width:4.2rem;height:5.6rem;display:block;margin:0 auto .1rem;overflow:visible}
.hidden{position:absolute;width:0;height:0}
symbol path,symbol rect,symbol circle,symbol line,pattern line,pattern circle,pattern path{stroke:var(--ink)}
.glass{fill:none;stroke-width:2}.cap{fill:var(--paper);stroke-width:1.6}.fill{stroke-width:1}.bubble{fill:var(--paper);stroke-width:1.4}
.asked{font-size:26px;text-anchor:middle;fill:var(--ink);font-weight:600}
.empty{font-style:italic;color:var(--faint);border-bottom:.45rem solid var(--ink);padding:.3rem .2rem}
.alert{border-top:1px solid var(--line);padding:.7rem 0}.alert h2{border:0;margin:0;text-transform:none;letter-spacing:0;font-size:1.1rem}
.remedies{margin:.3rem 0 0 1.2rem}.now{border-left:.5rem solid var(--ink);padding-left:.8rem}
.today{border-left:.25rem double var(--ink);padding-left:.8rem}
.below{margin-top:1.4rem}
@media (max-width:30rem){.board li{max-width:none}.stack thead{position:absolute;left:-99rem}.stack tr,.stack td,.stack th{display:block}.stack td::before{content:attr(data-name) ": ";color:var(--faint)}.stack tbody th{font-weight:600;color:inherit}.stack tbody tr>td{border-top:0}}
@media print{nav,.skip{display:none}}
)css";

// Asks again once a minute and puts the new content in the old one's place: the reader's place, an
// open detail and the keyboard's focus stay. An unchanged page is answered with 304.
constexpr Literal kRefresher = R"js("use strict";
(function () {
  var seconds = 60, tag = null;
  function look() {
    if (document.hidden) { return; }
    fetch(location.href, {credentials: "same-origin", headers: tag ? {"If-None-Match": tag} : {}})
      .then(function (answer) {
        if (answer.status !== 200) { return null; }
        if (answer.headers.get("ETag") === tag) { return null; }
        tag = answer.headers.get("ETag");
        return answer.text();
      })
      .then(function (text) {
        if (text === null) { return; }
        var fresh = new DOMParser().parseFromString(text, "text/html").querySelector("main");
        var old = document.querySelector("main");
        if (!fresh || fresh.innerHTML === old.innerHTML) { return; }
        var x = window.scrollX, y = window.scrollY, focused = document.activeElement;
        var href = focused && old.contains(focused) ? focused.getAttribute("href") : null;
        old.replaceWith(document.adoptNode(fresh));
        if (href) {
          var again = document.querySelector('main a[href="' + CSS.escape(href) + '"]') ||
            Array.prototype.find.call(document.querySelectorAll("main a"), function (a) {
              return a.getAttribute("href") === href;
            });
          if (again) { again.focus({preventScroll: true}); }
        }
        window.scrollTo(x, y);
      })
      .catch(function () {});
  }
  setInterval(look, seconds * 1000);
  document.addEventListener("visibilitychange", look);
})();
)js";

void navigation(Markup& page, Room here) {
  const auto nav = page.in("nav", {{"aria-label", "Pages"}});
  const auto link = [&](Room room, const char* href, std::string_view words) {
    if (room == here) {
      page.element("a", words, {{"href", href}, {"aria-current", "page"}});
    } else {
      page.element("a", words, {{"href", href}});
    }
  };
  link(Room::shelves, "/", "Shelves");
  link(Room::alerts, "/alerts", "Alerts");
  link(Room::sensors, "/sensors", "Sensors");
}

void head_of(Markup& page, bool refreshes) {
  page.lone("link", {{"rel", "stylesheet"}, {"href", "/torpor.css"}});
  page.lone("link", {{"rel", "icon"}, {"type", "image/svg+xml"}, {"href", "/icon.svg"}});
  if (!refreshes) return;
  {
    // Whoever has no scripts gets the browser's own reload, which keeps the place as well.
    const auto otherwise = page.in("noscript");
    page.lone("meta", {{"http-equiv", "refresh"}, {"content", kRefreshSeconds}});
  }
  page.element("script", "", {{"src", "/refresh.js"}, {"defer", ""}});
}

}  // namespace

Literal web_style() { return kWebStyle; }
Literal web_refresher() { return kRefresher; }

std::string web_page(const WebFrame& frame, const std::function<void(Markup&)>& content) {
  return html_page(
      frame.title + " \u00b7 torpor", [&](Markup& page) { head_of(page, frame.refreshes); },
      [&](Markup& page) {
        page.element("a", "To the content", {{"class", "skip"}, {"href", "#content"}});
        {
          const auto header = page.in("header");
          navigation(page, frame.room);
        }
        const auto main = page.in("main", {{"id", "content"}});
        if (frame.silent) {
          page.element("p",
                       fmt::format("No sensor has sent anything for {}: look at the sensors, the "
                                   "broker and the board.",
                                   in_words(*frame.silent)),
                       {{"class", "silent"}});
        }
        content(page);
      });
}

std::string plain_page(std::string_view heading, std::string_view sentence) {
  return html_page(
      std::string(heading), [](Markup& page) { head_of(page, false); },
      [&](Markup& page) {
        const auto main = page.in("main", {{"id", "content"}});
        page.element("h1", heading);
        page.element("p", sentence);
      });
}

}  // namespace torpor::daemon

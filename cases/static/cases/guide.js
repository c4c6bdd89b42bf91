/* A plan goes to paper by a button where script runs; the browser's menu does it anyway. */
(function () {
  "use strict";
  function offer() {
    document.querySelectorAll("[data-print][hidden]").forEach(function (button) {
      button.hidden = false;
    });
  }
  document.addEventListener("click", function (event) {
    if (event.target.closest && event.target.closest("[data-print]")) {
      window.print();
    }
  });
  document.addEventListener("DOMContentLoaded", offer);
  document.addEventListener("htmx:afterSwap", offer);
})();

// The little that runs in the browser: put a drawing where it belongs.
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  stokehold: {
    draw: function (svg) {
      const name = window.dash_clientside.callback_context.inputs_list[0].id.name;
      const id = JSON.stringify({ name: name, type: "drawing-ground" });
      let tries = 60;
      const put = function () {
        const ground = document.getElementById(id);
        if (ground) ground.innerHTML = svg || "";
        else if (tries-- > 0) window.requestAnimationFrame(put);
      };
      put();
      return window.dash_clientside.no_update;
    },
  },
});

// A page that gets no answer any more must not pass old numbers for the present.
(function () {
  const look = 5000, patience = 12000;
  const plain = window.fetch.bind(window);
  let heard = Date.now(), asked = Date.now(), unanswered = 0;
  const ask = function (...given) {
    asked = Date.now();
    return plain(...given).then(
      function (answer) {
        if (answer.ok) {
          heard = Date.now();
          unanswered = 0;
        } else unanswered++;
        return answer;
      },
      function (error) {
        unanswered++;
        throw error;
      }
    );
  };
  window.fetch = ask;
  const tell = function () {
    let told = document.getElementById("silence");
    const isSilent = unanswered > 1 && Date.now() - heard > patience;
    document.body.classList.toggle("silent", isSilent);
    if (!isSilent) {
      if (told) told.remove();
      return;
    }
    if (told) return;
    told = document.createElement("p");
    told.id = "silence";
    told.setAttribute("role", "alert");
    told.textContent =
      "Nothing new from the program since " + new Date(heard).toLocaleTimeString() +
      ": what stands here is from then. Look whether the box and the network are on; " +
      "then load the page again.";
    document.body.prepend(told);
  };
  window.setInterval(function () {
    if (Date.now() - asked > look)
      ask("/assets/stokehold.js", { method: "HEAD", cache: "no-store" }).catch(function () {});
    tell();
  }, look);
})();

/* Built by web/build.mjs; sources: field.js shared/civil.js shared/panel.js shared/sun.js; 0ffa2e20df08a6c576783b985aadf88ca13ac004bba735f9dc14c380590624f3 */
(() => {
  // shared/sun.js
  var DEGREE = Math.PI / 180;
})();

"use strict"; // placeholder

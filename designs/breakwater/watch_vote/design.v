// Watch vote: what the majority of three watch-keepers says, and who dissents.
module watch_vote (
    input  [7:0] inputs,
    output [7:0] outputs
);
    // Switch n is the word of watch-keeper n: 1 means that the fairway is clear.
    wire [2:0] clear = inputs[2:0];

    wire majority = (clear[0] & clear[1]) | (clear[1] & clear[2]) | (clear[2] & clear[0]);
    wire [2:0] dissents = clear ^ {3{majority}};

    assign outputs[0] = dissents[1];     // top: the keeper in the middle
    assign outputs[1] = dissents[2];     // upper right: the keeper on the right
    assign outputs[2] = 1'b0;
    assign outputs[3] = ~majority;       // bottom bar: not clear
    assign outputs[4] = 1'b0;
    assign outputs[5] = dissents[0];     // upper left: the keeper on the left
    assign outputs[6] = majority;        // middle bar: clear
    assign outputs[7] = dissents == 3'd0;  // point: all three agree
endmodule
